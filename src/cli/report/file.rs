//! Files of a report: written whole or not at all, and never over something that is no such file.

use std::fs;
use std::io::{ErrorKind, Read};
use std::path::{Path, PathBuf};

use crate::cli::Failure;

/// What a file is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::cli) enum Kind {
    Pdf,
    Xlsx,
    Svg,
}

impl Kind {
    /// How every such file begins.
    fn beginning(self) -> &'static [u8] {
        match self {
            Kind::Pdf => b"%PDF-",
            Kind::Xlsx => b"PK",
            Kind::Svg => b"<svg",
        }
    }

    fn words(self) -> &'static str {
        match self {
            Kind::Pdf => "PDF",
            Kind::Xlsx => "spreadsheet",
            Kind::Svg => "SVG drawing",
        }
    }
}

/// Writes a file, over an earlier one of its kind if there is one. A reader sees the earlier one or the whole new one.
pub(in crate::cli) fn write(to: &Path, kind: Kind, bytes: &[u8], job: &Path) -> Result<(), Failure> {
    if to.canonicalize().is_ok_and(|to| job.canonicalize().is_ok_and(|job| job == to)) {
        return Err(Failure::input(format!("{}: that is the job itself; name another file", to.display())));
    }
    match begins_with(to, kind.beginning()) {
        Ok(true) => {}
        Ok(false) => {
            let what = kind.words();
            return Err(Failure::input(format!("{}: it is there and is no {what}; name another file", to.display())));
        }
        Err(error) if error.kind() == ErrorKind::NotFound => {}
        Err(error) => return Err(Failure::input(format!("{}: {error}", to.display()))),
    }
    let beside = beside(to);
    let written = fs::write(&beside, bytes).and_then(|()| fs::rename(&beside, to));
    written.map_err(|error| {
        // What was begun is of no use; that it cannot be removed either changes nothing about the failure.
        let _ = fs::remove_file(&beside);
        Failure::outcome(format!("writing {}: {error}", to.display()))
    })
}

/// Makes a folder, unless it is there.
pub(super) fn folder(folder: &Path) -> Result<(), Failure> {
    fs::create_dir_all(folder).map_err(|error| Failure::outcome(format!("folder {}: {error}", folder.display())))
}

fn begins_with(path: &Path, wanted: &[u8]) -> std::io::Result<bool> {
    let mut found = Vec::new();
    fs::File::open(path)?.take(wanted.len() as u64).read_to_end(&mut found)?;
    // An empty file is nobody's loss.
    Ok(found.is_empty() || found == wanted)
}

fn beside(path: &Path) -> PathBuf {
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(format!(".{}.part", std::process::id()));
    path.with_file_name(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_but_an_earlier_report_is_written_over() {
        let folder = tempfile::tempdir().unwrap();
        let path = |name: &str| folder.path().join(name);
        let job = path("core.job");
        fs::write(&job, b"SQLite format 3").unwrap();
        let refused = write(&job, Kind::Pdf, b"%PDF-", &job).unwrap_err().to_string();
        assert!(refused.ends_with("that is the job itself; name another file"), "{refused}");
        fs::write(path("letter.txt"), b"Dear").unwrap();
        let refused = write(&path("letter.txt"), Kind::Pdf, b"%PDF-", &job).unwrap_err().to_string();
        assert!(refused.ends_with("it is there and is no PDF; name another file"), "{refused}");
        assert_eq!(fs::read(path("letter.txt")).unwrap(), b"Dear");
        for text in [&b"%PDF-1"[..], b"%PDF-2"] {
            write(&path("core.pdf"), Kind::Pdf, text, &job).unwrap();
            assert_eq!(fs::read(path("core.pdf")).unwrap(), text);
        }
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 3, "nothing half written is left beside them");
    }
}
