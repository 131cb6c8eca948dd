//! The service that carries the bytes, and its two characteristics.

use std::collections::BTreeSet;
use std::fmt;

use btleplug::api::{CharPropFlags, Characteristic, Service};
use uuid::Uuid;

/// A service that is used like a serial line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Uart {
    service: Uuid,
    notify: Uuid,
    write: Option<Uuid>,
}

impl Uart {
    /// The service with the characteristic that notifies what the instrument sends, and the one that takes what is sent
    /// to it, if it has one. `None` if one of them is no UUID.
    pub fn of(service: &str, notify: &str, write: Option<&str>) -> Option<Uart> {
        let uuid = |text: &str| Uuid::parse_str(text).ok();
        let write = match write {
            Some(write) => Some(uuid(write)?),
            None => None,
        };
        Some(Uart { service: uuid(service)?, notify: uuid(notify)?, write })
    }

    /// Its characteristics among a device's services; if they are not all there, what is, in words.
    pub(super) fn among(
        &self,
        services: &BTreeSet<Service>,
    ) -> Result<(Characteristic, Option<Characteristic>), Vec<String>> {
        let found = || services.iter().map(in_words).collect::<Vec<String>>();
        let service = services.iter().find(|service| service.uuid == self.service).ok_or_else(found)?;
        let with = |uuid: Uuid, can: CharPropFlags| {
            let fits = |known: &&Characteristic| known.uuid == uuid && known.properties.intersects(can);
            service.characteristics.iter().find(fits).cloned()
        };
        let notify = with(self.notify, NOTIFIES).ok_or_else(found)?;
        let write = match self.write {
            Some(uuid) => Some(with(uuid, TAKES).ok_or_else(found)?),
            None => None,
        };
        Ok((notify, write))
    }
}

/// How a characteristic can send: an indication is a notification that is confirmed.
const NOTIFIES: CharPropFlags = CharPropFlags::NOTIFY.union(CharPropFlags::INDICATE);
/// How it can take.
const TAKES: CharPropFlags = CharPropFlags::WRITE.union(CharPropFlags::WRITE_WITHOUT_RESPONSE);

impl fmt::Display for Uart {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "service {} with {} to notify", self.service, self.notify)?;
        self.write.map_or(Ok(()), |write| write!(f, " and {write} to write"))
    }
}

/// A service as whoever writes a format file needs it.
fn in_words(service: &Service) -> String {
    let that = |can: CharPropFlags| {
        let able = service.characteristics.iter().filter(|known| known.properties.intersects(can));
        able.map(|known| known.uuid.to_string()).collect::<Vec<_>>().join(", ")
    };
    let mut words = format!("service {}", service.uuid);
    for (can, does) in [(NOTIFIES, "notifies"), (TAKES, "takes")] {
        let able = that(can);
        if !able.is_empty() {
            words.push_str(&format!(" {does} {able}"));
        }
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    const SERVICE: &str = "7f8b0001-94c1-4a55-9a53-6f2d1e0c5a10";
    const NOTIFY: &str = "7f8b0002-94c1-4a55-9a53-6f2d1e0c5a10";
    const WRITE: &str = "7f8b0003-94c1-4a55-9a53-6f2d1e0c5a10";

    fn device(characteristics: &[(&str, CharPropFlags)]) -> BTreeSet<Service> {
        let service_uuid = Uuid::parse_str(SERVICE).unwrap();
        let characteristics = characteristics.iter().map(|(uuid, properties)| Characteristic {
            uuid: Uuid::parse_str(uuid).unwrap(),
            service_uuid,
            properties: *properties,
            descriptors: BTreeSet::new(),
        });
        BTreeSet::from([Service { uuid: service_uuid, primary: true, characteristics: characteristics.collect() }])
    }

    #[test]
    fn a_line_needs_its_characteristics_and_what_they_can() {
        let uart = Uart::of(SERVICE, NOTIFY, Some(WRITE)).unwrap();
        let whole = [(NOTIFY, CharPropFlags::INDICATE), (WRITE, CharPropFlags::WRITE_WITHOUT_RESPONSE)];
        let (notify, write) = uart.among(&device(&whole)).unwrap();
        assert_eq!((notify.uuid.to_string(), write.unwrap().uuid.to_string()), (NOTIFY.into(), WRITE.into()));

        let cannot = [(NOTIFY, CharPropFlags::READ), (WRITE, CharPropFlags::WRITE)];
        assert_eq!(uart.among(&device(&cannot)).unwrap_err(), [format!("service {SERVICE} takes {WRITE}")]);
        let one_way = [(NOTIFY, CharPropFlags::NOTIFY)];
        assert_eq!(uart.among(&device(&one_way)).unwrap_err(), [format!("service {SERVICE} notifies {NOTIFY}")]);
        let heard_only = Uart::of(SERVICE, NOTIFY, None).unwrap();
        assert_eq!(heard_only.among(&device(&one_way)).unwrap().1, None);
        let none: [String; 0] = [];
        assert_eq!(uart.among(&BTreeSet::new()).unwrap_err(), none);
    }

    #[test]
    fn what_is_no_uuid_makes_no_line() {
        assert_eq!(Uart::of("0001", NOTIFY, None), None);
        assert_eq!(Uart::of(SERVICE, NOTIFY, Some("")), None);
    }
}
