//! Which device is meant: by its address, or by the name that it goes by until it has been connected to once.

use std::fmt;

use btleplug::api::{AddressType, BDAddr, PeripheralProperties};

/// A device as it was asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Device {
    /// By its address, of which there is one.
    Address(BDAddr),
    /// By its name, of which there may be several.
    Name(String),
}

/// A device that was connected to, known again by its address.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Identity(pub(super) BDAddr);

/// Whether what was heard is the device that is meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Match {
    /// It is.
    This,
    /// It goes by the name that was asked for.
    ByName,
    /// It goes by that name, and is not the one that was connected to before.
    Another,
    /// It is not.
    No,
}

impl Device {
    /// What looks like an address is one.
    pub(super) fn parse(text: &str) -> Self {
        match text.parse() {
            Ok(address) if text.contains(':') => Device::Address(address),
            _ => Device::Name(text.to_owned()),
        }
    }

    /// Whether a device with that address and those names is meant, `before` having been connected to.
    pub(super) fn matches(&self, heard: &PeripheralProperties, before: Option<&Identity>) -> Match {
        let name = match self {
            Device::Address(address) if heard.address == *address => return Match::This,
            Device::Address(_) => return Match::No,
            Device::Name(name) => name,
        };
        let names = [&heard.local_name, &heard.advertisement_name];
        let called = names.into_iter().flatten().any(|known| known.trim().eq_ignore_ascii_case(name.trim()));
        match before {
            Some(Identity(address)) if heard.address == *address => Match::This,
            Some(_) if called => Match::Another,
            None if called => Match::ByName,
            Some(_) | None => Match::No,
        }
    }
}

impl Identity {
    /// By what a device is known again: its address, unless that is one which changes every few minutes, or one that the
    /// system keeps to itself. A random address is static if its two most significant bits are ones (Bluetooth Core
    /// Specification, volume 6, part B; from memory).
    pub(super) fn of(heard: &PeripheralProperties) -> Option<Identity> {
        let first = heard.address.into_inner()[0];
        let stays = heard.address_type != Some(AddressType::Random) || first >> 6 == 0b11;
        (stays && heard.address != BDAddr::default()).then_some(Identity(heard.address))
    }
}

impl fmt::Display for Device {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Device::Address(address) => write!(f, "{address}"),
            Device::Name(name) => f.write_str(name),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(address: &str, name: &str) -> PeripheralProperties {
        PeripheralProperties {
            address: address.parse().unwrap(),
            address_type: Some(AddressType::Public),
            local_name: Some(name.to_owned()),
            ..PeripheralProperties::default()
        }
    }

    #[test]
    fn an_address_means_one_device_and_a_name_the_one_that_it_meant_first() {
        let (ours, other) = (heard("11:22:33:44:55:66", "LEVEL-7 "), heard("11:22:33:44:55:67", "level-7"));
        let by_address = Device::parse("11:22:33:44:55:66");
        assert_eq!(by_address.matches(&ours, None), Match::This);
        assert_eq!(by_address.matches(&other, None), Match::No);
        let by_name = Device::parse("Level-7");
        assert_eq!(by_name.matches(&ours, None), Match::ByName);
        assert_eq!(by_name.matches(&heard("11:22:33:44:55:66", "LEVEL-8"), None), Match::No);
        let before = Identity::of(&ours);
        assert_eq!(by_name.matches(&ours, before.as_ref()), Match::This);
        assert_eq!(by_name.matches(&other, before.as_ref()), Match::Another);
        assert_eq!(Device::parse("112233445566"), Device::Name("112233445566".into()), "it could be a name");
    }

    #[test]
    fn an_address_that_changes_is_no_identity() {
        let random = |address: &str| PeripheralProperties {
            address_type: Some(AddressType::Random),
            ..heard(address, "LEVEL-7")
        };
        assert_eq!(Identity::of(&random("C1:22:33:44:55:66")), Some(Identity("C1:22:33:44:55:66".parse().unwrap())));
        assert_eq!(Identity::of(&random("41:22:33:44:55:66")), None, "resolvable");
        assert_eq!(Identity::of(&random("01:22:33:44:55:66")), None, "not resolvable");
        assert_eq!(Identity::of(&heard("00:00:00:00:00:00", "LEVEL-7")), None, "kept by the system");
    }
}
