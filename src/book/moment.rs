//! A point in time, as an argument: the core never asks a clock.

use std::fmt;
use std::time::Duration;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// Microseconds since 1970-01-01T00:00:00Z.
///
/// Kept with each event for people; it decides neither order nor acceptance. Order is the event's number.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Moment(i64);

/// 9999-12-30T22:00:00Z, the last moment that can be written; a clock beyond it is held there.
const LAST_US: i64 = 253_402_207_200_000_000;

impl Moment {
    /// From microseconds since the epoch, held inside the years that can be written (0000 to 9999).
    pub fn from_us(microseconds: i64) -> Self {
        Moment(microseconds.clamp(-62_000_000_000_000_000, LAST_US))
    }

    /// Microseconds since the epoch.
    pub fn us(self) -> i64 {
        self.0
    }

    /// How long after `earlier`; zero if it is not after.
    pub fn since(self, earlier: Moment) -> Duration {
        Duration::from_micros(u64::try_from(self.0.saturating_sub(earlier.0)).unwrap_or(0))
    }

    /// Time of day in UTC, `14:03:07`.
    pub fn time_of_day(self) -> String {
        self.to_string()[11..19].to_owned()
    }
}

impl fmt::Display for Moment {
    /// RFC 3339 in UTC with microseconds.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let timestamp = jiff::Timestamp::from_microsecond(self.0).expect("held inside the range by construction");
        write!(f, "{timestamp:.6}")
    }
}

impl Serialize for Moment {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Moment {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<'de, str>::deserialize(deserializer)?;
        let timestamp: jiff::Timestamp = text.parse().map_err(serde::de::Error::custom)?;
        Ok(Moment::from_us(timestamp.as_microsecond()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn written_as_rfc_3339_and_read_back() {
        let moment = Moment::from_us(1_700_000_000_123_456);
        assert_eq!(moment.to_string(), "2023-11-14T22:13:20.123456Z");
        assert_eq!(moment.time_of_day(), "22:13:20");
        let json = serde_json::to_string(&moment).unwrap();
        assert_eq!(serde_json::from_str::<Moment>(&json).unwrap(), moment);
        assert_eq!(Moment::from_us(i64::MAX).to_string(), "9999-12-30T22:00:00.000000Z");
    }
}
