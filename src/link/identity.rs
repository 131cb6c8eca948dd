//! Which adapter a port is, whatever number the system gave it this time.
//!
//! A USB adapter that is plugged in again may come back as `/dev/ttyUSB1`, and another one may take its old number.
//! Under `/dev/serial/by-id` the system keeps links whose names are made of maker, product and serial number. The
//! decisions are pure: the listing of that directory is an argument.

use std::path::{Path, PathBuf};

/// Where Linux keeps the links; elsewhere it does not exist, and ports are known by their path alone.
pub(super) const BY_ID_DIR: &str = "/dev/serial/by-id";

/// One link of the directory.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct ById {
    /// The link.
    pub(super) link: PathBuf,
    /// The device node that it leads to.
    pub(super) node: PathBuf,
}

/// What to open.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Follow {
    /// This path.
    Open(PathBuf),
    /// Nothing: the adapter is not plugged in.
    Gone,
    /// Nothing: the path belongs to another adapter.
    Another,
}

/// All links of `dir` that lead somewhere, by name.
pub(super) fn links(dir: &Path) -> Vec<ById> {
    let entries = std::fs::read_dir(dir).into_iter().flatten().flatten();
    let mut links: Vec<ById> = entries
        .filter_map(|entry| {
            let link = entry.path();
            let node = link.canonicalize().ok()?;
            Some(ById { link, node })
        })
        .collect();
    links.sort();
    links
}

/// The link that leads to `node`: the first by name, should there be several.
pub(super) fn of_node<'l>(links: &'l [ById], node: &Path) -> Option<&'l ById> {
    links.iter().find(|by_id| by_id.node == node)
}

/// What to open for a port named `path`, which is `node` now (if it is there), once its identity is known.
pub(super) fn follow(links: &[ById], identity: &Path, path: &Path, node: Option<&Path>) -> Follow {
    if let Some(by_id) = links.iter().find(|by_id| by_id.link == identity) {
        // Keep the name that the user gave as long as it is right.
        return Follow::Open(if node == Some(&by_id.node) { path.to_owned() } else { by_id.node.clone() });
    }
    match node.and_then(|node| of_node(links, node)) {
        Some(_) => Follow::Another,
        // A node without a link is no proof: the system makes the link a moment later than the node.
        None => Follow::Gone,
    }
}

/// The last part of a path, for people.
pub(super) fn name(path: &Path) -> String {
    path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn by_id(link: &str, node: &str) -> ById {
        ById { link: link.into(), node: node.into() }
    }

    #[test]
    fn an_adapter_is_followed_to_its_new_number_and_never_taken_for_another() {
        let (level, other) = ("/by-id/level", "/by-id/other");
        let (path, identity) = (Path::new("/dev/ttyUSB0"), Path::new(level));
        let usb0 = Some(path);
        for (links, node, wanted) in [
            (vec![by_id(level, "/dev/ttyUSB0")], usb0, Follow::Open("/dev/ttyUSB0".into())),
            (vec![by_id(level, "/dev/ttyUSB1")], None, Follow::Open("/dev/ttyUSB1".into())),
            (
                vec![by_id(level, "/dev/ttyUSB1"), by_id(other, "/dev/ttyUSB0")],
                usb0,
                Follow::Open("/dev/ttyUSB1".into()),
            ),
            (vec![by_id(other, "/dev/ttyUSB0")], usb0, Follow::Another),
            (vec![], usb0, Follow::Gone),
            (vec![], None, Follow::Gone),
        ] {
            assert_eq!(follow(&links, identity, path, node), wanted, "{links:?}");
        }
    }

    #[cfg(unix)]
    #[test]
    fn the_directory_is_listed_by_name_without_dead_links() {
        let dir = tempfile::tempdir().unwrap();
        let node = dir.path().join("ttyX0");
        std::fs::write(&node, "").unwrap();
        let by_id_dir = dir.path().join("by-id");
        std::fs::create_dir(&by_id_dir).unwrap();
        for (name, target) in [("b", &node), ("a", &node), ("dead", &dir.path().join("nowhere"))] {
            std::os::unix::fs::symlink(target, by_id_dir.join(name)).unwrap();
        }
        let links = links(&by_id_dir);
        assert_eq!(links.iter().map(|by_id| name(&by_id.link)).collect::<Vec<_>>(), ["a", "b"]);
        assert_eq!(of_node(&links, &node.canonicalize().unwrap()).map(|by_id| name(&by_id.link)).as_deref(), Some("a"));
        assert_eq!(super::links(Path::new("/nowhere/at/all")), []);
    }
}
