//! Why a link cannot be opened, each reason as a type of its own with a sentence that says what to do.

use std::fmt;
use std::io;
use std::mem::{Discriminant, discriminant};

use super::ble::BleTrouble;

/// Why a link cannot be opened. It is tried again for as long as it is wanted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Trouble {
    /// There is no such port or file.
    Missing {
        /// In words: `serial port /dev/ttyUSB0`.
        what: String,
    },
    /// Another program holds the port.
    InUse {
        /// In words.
        what: String,
        /// Which, if the system tells: `logger (process 812)`.
        by: Option<String>,
    },
    /// The port is there and may not be opened by this user.
    NotAllowed {
        /// In words.
        what: String,
        /// The group whose members may open it, if there is one.
        group: Option<PortGroup>,
    },
    /// The port's name now belongs to another device than the one that was listened to.
    AnotherDevice {
        /// In words.
        what: String,
        /// The identity that is waited for.
        wanted: String,
    },
    /// A network address that does not answer.
    NoAnswer {
        /// In words.
        what: String,
        /// What the system said.
        why: String,
    },
    /// No connection over Bluetooth.
    Ble(BleTrouble),
    /// Anything else.
    Other {
        /// In words.
        what: String,
        /// What the system said.
        why: String,
    },
}

/// The kinds of [`Trouble`], for comparing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TroubleKind {
    /// [`Trouble::Missing`].
    Missing,
    /// [`Trouble::InUse`].
    InUse,
    /// [`Trouble::NotAllowed`].
    NotAllowed,
    /// [`Trouble::AnotherDevice`].
    AnotherDevice,
    /// [`Trouble::NoAnswer`].
    NoAnswer,
    /// [`Trouble::Ble`], each of its reasons a kind of its own.
    Ble(Discriminant<BleTrouble>),
    /// [`Trouble::Other`].
    Other,
}

/// The group whose members may open a port.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PortGroup {
    /// Its name, or its number where it has none.
    pub name: String,
    /// Where this user stands.
    pub membership: Membership,
}

/// Where a user stands with a group.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Membership {
    /// Not in it.
    Outside {
        /// The user to be put in.
        user: String,
    },
    /// In it by the books, but logged in before that.
    NotYet,
    /// In it, and still refused.
    Inside,
}

impl Trouble {
    /// Its kind.
    pub fn kind(&self) -> TroubleKind {
        match self {
            Trouble::Missing { .. } => TroubleKind::Missing,
            Trouble::InUse { .. } => TroubleKind::InUse,
            Trouble::NotAllowed { .. } => TroubleKind::NotAllowed,
            Trouble::AnotherDevice { .. } => TroubleKind::AnotherDevice,
            Trouble::NoAnswer { .. } => TroubleKind::NoAnswer,
            Trouble::Ble(why) => TroubleKind::Ble(discriminant(why)),
            Trouble::Other { .. } => TroubleKind::Other,
        }
    }

    /// From a failed open of a file.
    pub(super) fn of_file(what: String, error: &io::Error) -> Trouble {
        match error.kind() {
            io::ErrorKind::NotFound => Trouble::Missing { what },
            io::ErrorKind::PermissionDenied => Trouble::NotAllowed { what, group: None },
            _ => Trouble::Other { what, why: error.to_string() },
        }
    }
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Trouble::Missing { what } => write!(f, "{what} is not there: plug it in, or check the name"),
            Trouble::InUse { what, by: Some(by) } => write!(f, "{what} is in use by {by}: close it there"),
            Trouble::InUse { what, by: None } => {
                write!(f, "{what} is in use by another program: close it there; `fuser -v` run as root names it")
            }
            Trouble::NotAllowed { what, group: None } => {
                write!(f, "{what} may not be opened by this user: its owner has to allow it")
            }
            Trouble::NotAllowed { what, group: Some(PortGroup { name, membership }) } => match membership {
                Membership::Outside { user } => write!(
                    f,
                    "{what} may be opened by members of the group {name} only: `sudo usermod -aG {name} {user}`, then \
                     log in again"
                ),
                Membership::NotYet => write!(
                    f,
                    "{what} may be opened by members of the group {name} only, which this user has joined since: log \
                     in again"
                ),
                Membership::Inside => write!(
                    f,
                    "{what} was refused although this user is in its group {name}: look for a device rule or a \
                     sandbox that forbids it"
                ),
            },
            Trouble::AnotherDevice { what, wanted } => {
                write!(f, "{what} is another device now: plug {wanted} in, or name the other port")
            }
            Trouble::NoAnswer { what, why } => {
                write!(f, "{what} does not answer ({why}): check that it is switched on, and its address and port")
            }
            Trouble::Ble(why) => why.fmt(f),
            Trouble::Other { what, why } => write!(f, "{what} could not be opened: {why}"),
        }
    }
}

impl std::error::Error for Trouble {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_trouble_with_bluetooth_is_a_kind_of_its_own() {
        let not_paired = |why: &str| Trouble::Ble(BleTrouble::NotPaired { what: "L".into(), why: why.into() });
        assert_eq!(not_paired("once").kind(), not_paired("again").kind());
        assert_ne!(Trouble::Ble(BleTrouble::Off).kind(), Trouble::Ble(BleTrouble::NoAdapter).kind());
    }

    #[test]
    fn each_sentence_says_what_to_do() {
        let what = || "serial port /dev/ttyUSB0".to_owned();
        let group = |membership| Trouble::NotAllowed {
            what: what(),
            group: Some(PortGroup { name: "lines".into(), membership }),
        };
        for (trouble, sentence) in [
            (Trouble::Missing { what: what() }, "serial port /dev/ttyUSB0 is not there: plug it in, or check the name"),
            (
                Trouble::InUse { what: what(), by: Some("logger (process 812)".into()) },
                "serial port /dev/ttyUSB0 is in use by logger (process 812): close it there",
            ),
            (
                Trouble::InUse { what: what(), by: None },
                "serial port /dev/ttyUSB0 is in use by another program: close it there; `fuser -v` run as root names it",
            ),
            (
                group(Membership::Outside { user: "kim".into() }),
                "serial port /dev/ttyUSB0 may be opened by members of the group lines only: `sudo usermod -aG lines \
                 kim`, then log in again",
            ),
            (
                group(Membership::NotYet),
                "serial port /dev/ttyUSB0 may be opened by members of the group lines only, which this user has \
                 joined since: log in again",
            ),
            (
                Trouble::NoAnswer { what: "10.0.0.9:4001".into(), why: "connection refused".into() },
                "10.0.0.9:4001 does not answer (connection refused): check that it is switched on, and its address \
                 and port",
            ),
            (
                Trouble::AnotherDevice { what: what(), wanted: "usb-level-1".into() },
                "serial port /dev/ttyUSB0 is another device now: plug usb-level-1 in, or name the other port",
            ),
        ] {
            assert_eq!(trouble.to_string(), sentence);
        }
    }
}
