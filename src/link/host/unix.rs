//! What only a Unix can tell: the group of a port, who holds it, whether a process lives, a directory of one's own.

use std::fs::{self, DirBuilder};
use std::io;
use std::os::unix::fs::{DirBuilderExt, FileTypeExt, MetadataExt};
use std::path::{Path, PathBuf};
use std::time::Duration;

use crate::link::trouble::{Membership, PortGroup, Trouble};

/// Idle this long, a connection is asked whether it lives; with the two lines below a dead one is found within 25 s.
const KEEPALIVE_IDLE: Duration = Duration::from_secs(10);
/// Between two such questions.
const KEEPALIVE_EVERY: Duration = Duration::from_secs(5);
/// Questions without an answer until it counts as dead.
const KEEPALIVE_COUNT: u32 = 3;
/// The most file descriptors looked at to find who holds a port: more than a busy machine has, and under 0.2 s.
const DESCRIPTORS_MAX: usize = 100_000;

/// A file that cannot be a port.
pub(in crate::link) fn is_plain_file(path: &Path) -> bool {
    fs::metadata(path).is_ok_and(|metadata| !metadata.file_type().is_char_device())
}

/// A pseudo-terminal: no hardware behind it.
pub(in crate::link) fn is_pseudo_terminal(node: &Path) -> bool {
    node.starts_with("/dev/pts")
}

/// The serial library says "no device" here only for a port that somebody else holds.
pub(in crate::link) fn trouble_of_no_device(what: String, path: &Path, simulator: Option<u32>) -> Trouble {
    Trouble::InUse { what, by: holder(path, simulator) }
}

/// The group whose members may open `path`; `None` if no group may.
pub(in crate::link) fn group_of(path: &Path) -> Option<PortGroup> {
    let metadata = fs::metadata(path).ok()?;
    if metadata.mode() & 0o060 != 0o060 {
        return None;
    }
    let user = user_name(&fs::read_to_string("/etc/passwd").unwrap_or_default(), rustix::process::geteuid().as_raw());
    let held = rustix::process::getgroups().unwrap_or_default();
    let holds =
        rustix::process::getegid().as_raw() == metadata.gid() || held.iter().any(|g| g.as_raw() == metadata.gid());
    Some(port_group(&fs::read_to_string("/etc/group").unwrap_or_default(), metadata.gid(), user, holds))
}

/// Where `user` stands with the group `gid`, by the lines of the group file (`name:password:number:members`) and by
/// whether this process holds it.
fn port_group(group_file: &str, gid: u32, user: String, holds: bool) -> PortGroup {
    let line = group_file.lines().find_map(|line| {
        let fields: Vec<&str> = line.split(':').collect();
        let &[name, _, number, members] = &fields[..] else { return None };
        (number.parse() == Ok(gid)).then_some((name, members))
    });
    let (name, members) = line.map_or_else(|| (gid.to_string(), ""), |(name, members)| (name.to_owned(), members));
    let membership = if holds {
        Membership::Inside
    } else if members.split(',').any(|member| member == user) {
        Membership::NotYet
    } else {
        Membership::Outside { user }
    };
    PortGroup { name, membership }
}

/// The name of a user by the lines of the password file, or the number.
fn user_name(password_file: &str, uid: u32) -> String {
    password_file
        .lines()
        .find_map(|line| {
            let mut fields = line.split(':');
            let (name, _, number) = (fields.next()?, fields.next()?, fields.next()?);
            (number.parse() == Ok(uid)).then(|| name.to_owned())
        })
        .unwrap_or_else(|| uid.to_string())
}

/// The process that holds `path` open, as far as this user may see: its name and number. Where there is no `/proc`,
/// nobody knows. A simulator holds its own port open and is in nobody's way.
fn holder(path: &Path, simulator: Option<u32>) -> Option<String> {
    let node = path.canonicalize().ok()?;
    let mut looked_at = 0;
    for process in fs::read_dir("/proc").ok()?.flatten() {
        let Some(pid) = process.file_name().to_str().and_then(|name| name.parse::<u32>().ok()) else { continue };
        if Some(pid) == simulator {
            continue;
        }
        for descriptor in fs::read_dir(process.path().join("fd")).into_iter().flatten().flatten() {
            looked_at += 1;
            if looked_at > DESCRIPTORS_MAX {
                return None;
            }
            if fs::read_link(descriptor.path()).is_ok_and(|open| open == node) {
                if pid == std::process::id() {
                    return Some(format!("this very program (process {pid})"));
                }
                let name = fs::read_to_string(process.path().join("comm")).unwrap_or_default();
                return Some(format!("{} (process {pid})", name.trim_end()));
            }
        }
    }
    None
}

/// When a living process began, in the system's own ticks; 0 where the system does not tell. `None` if it is dead.
pub(in crate::link) fn process_began(pid: u32) -> Option<u64> {
    let alive = rustix::process::Pid::from_raw(i32::try_from(pid).ok()?)
        // Somebody else's process answers "not permitted", and lives.
        .is_some_and(|pid| rustix::process::test_kill_process(pid) != Err(rustix::io::Errno::SRCH));
    if !alive {
        return None;
    }
    match fs::read_to_string(format!("/proc/{pid}/stat")) {
        Ok(stat) => start_ticks(&stat),
        Err(_) => Some(0),
    }
}

/// Field 22 of a process's `stat` line; `None` for one that has ended and whose parent has not asked how. The second
/// field is a name in brackets, which may hold blanks and brackets.
fn start_ticks(stat: &str) -> Option<u64> {
    let mut fields = stat.rsplit_once(')')?.1.split_ascii_whitespace();
    let state = fields.next()?;
    if matches!(state, "Z" | "X") { None } else { fields.nth(18)?.parse().ok() }
}

/// Makes sure that `dir` is there and is this user's alone.
pub(in crate::link) fn private_dir(dir: &Path) -> io::Result<()> {
    DirBuilder::new().recursive(true).mode(0o700).create(dir)?;
    let metadata = fs::symlink_metadata(dir)?;
    let mine =
        metadata.is_dir() && metadata.uid() == rustix::process::geteuid().as_raw() && metadata.mode() & 0o022 == 0;
    if mine { Ok(()) } else { Err(io::Error::other(format!("{} is not this user's alone", dir.display()))) }
}

/// A directory for what lives as long as the session: the session's own, or one with the user's number in its name.
pub(in crate::link) fn runtime_dir() -> PathBuf {
    match std::env::var_os("XDG_RUNTIME_DIR") {
        Some(dir) if !dir.is_empty() => PathBuf::from(dir).join("closerun"),
        _ => std::env::temp_dir().join(format!("closerun-{}", rustix::process::geteuid().as_raw())),
    }
}

/// Lets the kernel find out that the other end has died silently, whether we speak or only listen.
pub(in crate::link) fn watch_over(stream: &tokio::net::TcpStream) -> io::Result<()> {
    use rustix::net::sockopt;
    sockopt::set_tcp_keepidle(stream, KEEPALIVE_IDLE)?;
    sockopt::set_tcp_keepintvl(stream, KEEPALIVE_EVERY)?;
    sockopt::set_tcp_keepcnt(stream, KEEPALIVE_COUNT)?;
    sockopt::set_socket_keepalive(stream, true)?;
    #[cfg(target_os = "linux")]
    sockopt::set_tcp_user_timeout(stream, 25_000)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_group_of_a_port_and_where_the_user_stands_with_it() {
        let file = "root:x:0:\nlines:x:20:pat,kim\nbroken\nempty:x:21:\n";
        for (gid, user, holds, name, membership) in [
            (20, "kim", false, "lines", Membership::NotYet),
            (20, "kim", true, "lines", Membership::Inside),
            (20, "ki", false, "lines", Membership::Outside { user: "ki".into() }),
            (21, "kim", false, "empty", Membership::Outside { user: "kim".into() }),
            (99, "kim", false, "99", Membership::Outside { user: "kim".into() }),
        ] {
            assert_eq!(port_group(file, gid, user.into(), holds), PortGroup { name: name.into(), membership });
        }
        assert_eq!(user_name("root:x:0:0::/:/bin/sh\nkim:x:1000:1000::/:/bin/sh", 1000), "kim");
        assert_eq!(user_name("", 7), "7");
    }

    #[test]
    fn a_process_is_told_from_another_with_the_same_number() {
        assert_eq!(start_ticks("12 (a b) c) S 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 4711 20"), Some(4711));
        assert_eq!(start_ticks("12 (a) Z 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 4711 20"), None);
        assert_eq!(start_ticks("12 (a"), None);
        let me = process_began(std::process::id());
        assert!(me.is_some());
        assert_eq!(me, process_began(std::process::id()));
        let mut child = std::process::Command::new("true").spawn().unwrap();
        child.wait().unwrap();
        assert_eq!(process_began(child.id()), None);
    }

    #[test]
    fn a_directory_of_ones_own_is_not_one_that_others_can_write_to() {
        use std::os::unix::fs::PermissionsExt;
        let dir = tempfile::tempdir().unwrap();
        let own = dir.path().join("a/b");
        private_dir(&own).unwrap();
        private_dir(&own).unwrap();
        fs::set_permissions(&own, fs::Permissions::from_mode(0o777)).unwrap();
        assert!(private_dir(&own).is_err());
        let elsewhere = dir.path().join("link");
        std::os::unix::fs::symlink(dir.path().join("a"), &elsewhere).unwrap();
        assert!(private_dir(&elsewhere).is_err(), "a link may lead into a trap");
    }
}
