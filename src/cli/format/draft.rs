//! `closerun format draft`: a format file proposed from a capture and from what the instrument's display showed.
//!
//! The file goes to standard output, or where `--to` says; what is to be said of it goes to standard error. Where
//! several fit, none is the draft: they are told apart, and each is written beside the others.

mod capture;
mod words;

use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use crate::cli::Failure;
use crate::cli::arguments::FormatDraft;
use crate::protocol::draft::{Chunk, Draft, Drafted, SEEN_MAX, draft};

pub(super) fn run(arguments: &FormatDraft) -> Result<(), Failure> {
    if let Some(there) = arguments.to.as_ref().filter(|path| path.exists()) {
        return Err(Failure::input(format!("{}: there already; name another, none is written over", there.display())));
    }
    if arguments.seen.len() > SEEN_MAX {
        let found = arguments.seen.len();
        return Err(Failure::input(format!("{found} readings given with --seen, at most {SEEN_MAX} are looked for")));
    }
    let captured = capture::read(&arguments.capture)?;
    for note in &captured.notes {
        eprintln!("-- {note}");
    }
    let chunks: Vec<Chunk<'_>> = captured.chunks.iter().map(|(at, bytes)| Chunk { at: *at, bytes }).collect();
    match draft(&chunks, &arguments.seen) {
        Drafted::One(draft) => {
            eprint!("{}", words::one(&draft, arguments.seen.len(), &captured.bytes()));
            match &arguments.to {
                Some(path) => {
                    write_new(path, &draft.text)?;
                    eprint!("{}", words::next(path, &arguments.capture));
                }
                None => print(&draft.text)?,
            }
            Ok(())
        }
        Drafted::Several { drafts, apart } => {
            eprint!("{}", words::several(&drafts, &apart, &captured.bytes()));
            beside_each_other(&drafts, arguments.to.as_deref())?;
            Err(Failure::outcome("none of the drafts was chosen"))
        }
        Drafted::Nothing { reasons } => {
            Err(Failure::outcome(format!("no format was found that fits\n  {}", reasons.join("\n  "))))
        }
    }
}

/// Hands out drafts of which none was chosen: under a heading each, or in a file each.
fn beside_each_other(drafts: &[Draft], to: Option<&Path>) -> Result<(), Failure> {
    for (draft, letter) in drafts.iter().zip(words::letters()) {
        match to {
            Some(path) => {
                let path = lettered(path, letter);
                write_new(&path, &draft.text)?;
                eprintln!("draft {letter} is {}", path.display());
            }
            None => print(&format!("\n# draft {letter}\n{}", draft.text))?,
        }
    }
    Ok(())
}

/// `mine.toml` for draft A is `mine-a.toml`.
fn lettered(path: &Path, letter: char) -> PathBuf {
    let part = |part: Option<&std::ffi::OsStr>| part.map(|part| part.to_string_lossy().into_owned());
    let stem = part(path.file_stem()).unwrap_or_default();
    let ending = part(path.extension()).map(|ending| format!(".{ending}")).unwrap_or_default();
    path.with_file_name(format!("{stem}-{}{ending}", letter.to_ascii_lowercase()))
}

fn write_new(path: &Path, text: &str) -> Result<(), Failure> {
    let written = File::create_new(path).and_then(|mut file| file.write_all(text.as_bytes()));
    written.map_err(|error| Failure::outcome(format!("format file {}: {error}", path.display())))
}

/// Whoever reads only its beginning has what was wanted.
fn print(text: &str) -> Result<(), Failure> {
    match io::stdout().write_all(text.as_bytes()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            Err(Failure::outcome(format!("the output: {error}")))
        }
        _ => Ok(()),
    }
}
