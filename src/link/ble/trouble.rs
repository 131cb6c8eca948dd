//! Why there is no connection over Bluetooth, each reason with what to do.

use std::fmt;
use std::time::Duration;

/// Why there is no connection over Bluetooth.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum BleTrouble {
    /// The system's Bluetooth service does not answer.
    NoService {
        /// What the system said.
        why: String,
    },
    /// The service answers, and has no adapter.
    NoAdapter,
    /// The adapter is switched off.
    Off,
    /// This user may not use Bluetooth.
    NotAllowed {
        /// What the system said.
        why: String,
    },
    /// The device was not heard.
    OutOfReach {
        /// As it was asked for.
        what: String,
        /// How long was listened.
        within: Duration,
    },
    /// Several devices go by that name.
    Several {
        /// The name.
        what: String,
        /// Their addresses.
        addresses: Vec<String>,
    },
    /// Another device goes by that name than the one that was connected to.
    Another {
        /// The name.
        what: String,
        /// Its address.
        found: String,
        /// The address of the one that is waited for.
        wanted: String,
    },
    /// It was found, and no connection comes about.
    NoConnection {
        /// As it was asked for.
        what: String,
        /// What the system said.
        why: String,
    },
    /// It wants to be paired, and the pairing was refused or is no longer good.
    NotPaired {
        /// As it was asked for.
        what: String,
        /// What the system said.
        why: String,
    },
    /// It has not the service that was asked for.
    NoUart {
        /// As it was asked for.
        what: String,
        /// The service in words.
        wanted: String,
        /// The services that it has, in words.
        found: Vec<String>,
    },
}

impl BleTrouble {
    /// From a failed question to the system's Bluetooth service.
    pub(super) fn of_service(failed: Failed) -> Self {
        match failed.cause {
            Cause::Denied => BleTrouble::NotAllowed { why: failed.why },
            Cause::Off => BleTrouble::Off,
            Cause::Absent | Cause::Pairing | Cause::Other => BleTrouble::NoService { why: failed.why },
        }
    }

    /// From something that failed between here and a device.
    pub(super) fn of_connection(device: &impl fmt::Display, failed: Failed) -> Self {
        let what = device.to_string();
        match failed.cause {
            Cause::Pairing => BleTrouble::NotPaired { what, why: failed.why },
            Cause::Other => BleTrouble::NoConnection { what, why: failed.why },
            Cause::Absent | Cause::Denied | Cause::Off => BleTrouble::of_service(failed),
        }
    }
}

impl fmt::Display for BleTrouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            BleTrouble::NoService { why } => write!(
                f,
                "this machine has no Bluetooth that answers ({why}): on Linux, install bluez and see `systemctl status \
                 bluetooth`"
            ),
            BleTrouble::NoAdapter => {
                write!(f, "this machine has no Bluetooth adapter: plug one in, or see that its driver finds it")
            }
            BleTrouble::Off => write!(
                f,
                "Bluetooth is switched off on this machine: switch it on in its settings; on Linux, `bluetoothctl power \
                 on`"
            ),
            BleTrouble::NotAllowed { why } => write!(
                f,
                "this user may not use Bluetooth ({why}): on Linux it may be for the group bluetooth only, join it and \
                 log in again"
            ),
            BleTrouble::OutOfReach { what, within } => write!(
                f,
                "{what} was not heard over Bluetooth within {} s: switch it on, bring it nearer, and see that nothing \
                 else is connected to it; `closerun ports --ble` lists what is heard",
                within.as_secs()
            ),
            BleTrouble::Several { what, addresses } => write!(
                f,
                "{} devices are called {what}: ask for one by its address: {}",
                addresses.len(),
                addresses.join(", ")
            ),
            BleTrouble::Another { what, found, wanted } => write!(
                f,
                "{what} is another device now ({found}): bring {wanted} back, or start again with the other's address"
            ),
            BleTrouble::NoConnection { what, why } => write!(
                f,
                "{what} is there and does not connect ({why}): switch it off and on, bring it nearer, and see that \
                 nothing else is connected to it"
            ),
            BleTrouble::NotPaired { what, why } => write!(
                f,
                "{what} refuses to pair ({why}): confirm the pairing on it; if it was paired before, forget it in this \
                 machine's Bluetooth settings and pair it again"
            ),
            BleTrouble::NoUart { what, wanted, found } => {
                let found = if found.is_empty() { "nothing".to_owned() } else { found.join("; ") };
                write!(
                    f,
                    "{what} has no {wanted}: found {found}; the format file says which under [link.ble], by the \
                     instrument's manual"
                )
            }
        }
    }
}

/// A call to the Bluetooth service that failed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Failed {
    cause: Cause,
    /// What the system said.
    why: String,
}

/// What kind of failure it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Cause {
    /// The service is not there.
    Absent,
    /// It does not let this user.
    Denied,
    /// The adapter is switched off.
    Off,
    /// Pairing, or what needs it.
    Pairing,
    /// Anything else.
    Other,
}

/// By what a failure is known, in the order in which they are looked for: parts of the names of errors (D-Bus; BlueZ's
/// interface descriptions) and of the codes of refused attributes (Bluetooth Core Specification, volume 3, part F, error
/// codes; from memory). The library passes names on only in what it prints for programmers.
const SIGNS: &[(Cause, &[&str])] = &[
    (
        Cause::Absent,
        &[
            "DBus.Error.ServiceUnknown",
            "DBus.Error.NameHasNoOwner",
            "DBus.Error.FileNotFound",
            "DBus.Error.NoServer",
            "DBus.Error.Spawn",
        ],
    ),
    (Cause::Denied, &["DBus.Error.AccessDenied", "PermissionDenied"]),
    (Cause::Off, &["bluez.Error.NotReady"]),
    (
        Cause::Pairing,
        &[
            "bluez.Error.Authentication",
            "bluez.Error.NotPermitted",
            "bluez.Error.NotAuthorized",
            "ATT error: 0x05",
            "ATT error: 0x08",
            "ATT error: 0x0c",
            "ATT error: 0x0f",
        ],
    ),
];

impl Failed {
    /// What a failure of the library means.
    pub(super) fn of(error: &btleplug::Error) -> Self {
        let named = format!("{error:?}");
        let known = SIGNS.iter().find(|(_, signs)| signs.iter().any(|sign| named.contains(sign)));
        Failed { cause: known.map_or(Cause::Other, |(cause, _)| *cause), why: in_words(error, &named) }
    }

    /// No answer came in time.
    pub(super) fn no_answer(within: Duration) -> Self {
        Failed { cause: Cause::Other, why: format!("no answer within {} s", within.as_secs()) }
    }

    /// Whether it is only that the service is not there.
    pub(super) fn is_absent(&self) -> bool {
        self.cause == Cause::Absent
    }
}

impl fmt::Display for Failed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.why)
    }
}

/// What the system said, or by what name where it said nothing.
fn in_words(error: &btleplug::Error, named: &str) -> String {
    let said: String = error.to_string().chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    match said.trim() {
        "" => named.rsplit(['(', ')']).find(|part| part.contains(".Error.")).unwrap_or("no reason given").to_owned(),
        said => said.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As the library wraps what comes over the bus.
    #[derive(Debug)]
    struct DbusError(Raw);
    struct Raw(&'static str, &'static str);

    impl fmt::Debug for Raw {
        fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            write!(f, "D-Bus error: {} ({})", self.1, self.0)
        }
    }

    impl fmt::Display for DbusError {
        fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str(self.0.1)
        }
    }

    impl std::error::Error for DbusError {}

    fn failed(name: &'static str, message: &'static str) -> Failed {
        Failed::of(&btleplug::Error::Other(Box::new(DbusError(Raw(name, message)))))
    }

    #[test]
    fn what_failed_is_known_by_its_name_or_code() {
        for (name, message, cause) in [
            ("org.freedesktop.DBus.Error.ServiceUnknown", "The name org.bluez was not provided", Cause::Absent),
            ("org.freedesktop.DBus.Error.FileNotFound", "Failed to connect to socket", Cause::Absent),
            ("org.freedesktop.DBus.Error.AccessDenied", "Rejected send message", Cause::Denied),
            ("org.bluez.Error.NotReady", "Resource Not Ready", Cause::Off),
            ("org.bluez.Error.AuthenticationFailed", "Authentication Failed", Cause::Pairing),
            ("org.bluez.Error.AuthenticationRejected", "Authentication Rejected", Cause::Pairing),
            ("org.bluez.Error.NotPermitted", "Notify not permitted", Cause::Pairing),
            ("org.bluez.Error.Failed", "Operation failed with ATT error: 0x0f (Encryption Missing)", Cause::Pairing),
            ("org.bluez.Error.Failed", "le-connection-abort-by-local", Cause::Other),
            ("org.freedesktop.DBus.Error.UnknownObject", "Unknown object '/org/bluez/hci0/dev_1'", Cause::Other),
        ] {
            assert_eq!(failed(name, message), Failed { cause, why: message.to_owned() });
        }
        assert_eq!(failed("org.bluez.Error.InProgress", "").why, "org.bluez.Error.InProgress");
        assert_eq!(failed("org.bluez.Error.Failed", "a\u{1b}[2Jb").why, "a [2Jb", "nothing steers a terminal");
    }

    #[test]
    fn each_sentence_says_what_to_do() {
        let what = || "LEVEL-7".to_owned();
        for (trouble, sentence) in [
            (
                BleTrouble::of_service(failed("org.freedesktop.DBus.Error.ServiceUnknown", "no owner")),
                "this machine has no Bluetooth that answers (no owner): on Linux, install bluez and see `systemctl \
                 status bluetooth`",
            ),
            (
                BleTrouble::OutOfReach { what: what(), within: Duration::from_secs(10) },
                "LEVEL-7 was not heard over Bluetooth within 10 s: switch it on, bring it nearer, and see that nothing \
                 else is connected to it; `closerun ports --ble` lists what is heard",
            ),
            (
                BleTrouble::Several { what: what(), addresses: vec!["A".into(), "B".into()] },
                "2 devices are called LEVEL-7: ask for one by its address: A, B",
            ),
            (
                BleTrouble::of_connection(&"LEVEL-7", failed("org.bluez.Error.AuthenticationFailed", "no")),
                "LEVEL-7 refuses to pair (no): confirm the pairing on it; if it was paired before, forget it in this \
                 machine's Bluetooth settings and pair it again",
            ),
            (
                BleTrouble::NoUart { what: what(), wanted: "service S".into(), found: vec![] },
                "LEVEL-7 has no service S: found nothing; the format file says which under [link.ble], by the \
                 instrument's manual",
            ),
        ] {
            assert_eq!(trouble.to_string(), sentence);
        }
    }
}
