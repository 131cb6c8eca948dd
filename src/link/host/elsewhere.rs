//! The same questions where the system is no Unix: answered as far as the standard library can.

use std::io;
use std::path::{Path, PathBuf};

use crate::link::trouble::{PortGroup, Trouble};

/// A file that cannot be a port. Port names are not files here.
pub(in crate::link) fn is_plain_file(path: &Path) -> bool {
    path.is_file()
}

/// There are no pseudo-terminals here.
pub(in crate::link) fn is_pseudo_terminal(_node: &Path) -> bool {
    false
}

/// The serial library says "no device" here for a port that is absent and for one that somebody holds: the list of
/// ports tells them apart.
pub(in crate::link) fn trouble_of_no_device(what: String, path: &Path, _simulator: Option<u32>) -> Trouble {
    let listed = serialport::available_ports().unwrap_or_default();
    if listed.iter().any(|port| Path::new(&port.port_name) == path) {
        Trouble::InUse { what, by: None }
    } else {
        Trouble::Missing { what }
    }
}

/// No group rules over a port here.
pub(in crate::link) fn group_of(_path: &Path) -> Option<PortGroup> {
    None
}

/// Whether a process lives is not asked here; it is taken to.
pub(in crate::link) fn process_began(_pid: u32) -> Option<u64> {
    Some(0)
}

/// Makes sure that `dir` is there. It lies under the user's own temporary directory.
pub(in crate::link) fn private_dir(dir: &Path) -> io::Result<()> {
    std::fs::create_dir_all(dir)
}

/// A directory for what lives as long as the session.
pub(in crate::link) fn runtime_dir() -> PathBuf {
    std::env::temp_dir().join("closerun")
}

/// The system's own keepalive, whose times cannot be set through what is at hand here.
pub(in crate::link) fn watch_over(_stream: &tokio::net::TcpStream) -> io::Result<()> {
    Ok(())
}
