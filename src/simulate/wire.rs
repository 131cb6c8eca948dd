//! How fast a serial line carries bytes. Pure.

use std::time::Duration;

/// Speed and form of the characters on a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wire {
    /// Bits a second.
    pub baud: u32,
    /// Bits of a character: start, data, parity and stop bits together; 10 for 8N1, 11 for 8E1.
    pub bits: u8,
}

impl Wire {
    /// How long so many bytes take.
    pub fn time_for(self, bytes: usize) -> Duration {
        let nanoseconds = bytes as u128 * u128::from(self.bits) * 1_000_000_000 / u128::from(self.baud.max(1));
        Duration::from_nanos(u64::try_from(nanoseconds).unwrap_or(u64::MAX))
    }

    /// How many whole bytes have gone after that time.
    pub fn bytes_after(self, time: Duration) -> usize {
        let bytes = time.as_nanos() * u128::from(self.baud) / (u128::from(self.bits.max(1)) * 1_000_000_000);
        usize::try_from(bytes).unwrap_or(usize::MAX)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_of_9600_baud_carries_960_bytes_a_second_at_ten_bits_each() {
        let wire = Wire { baud: 9600, bits: 10 };
        assert_eq!(wire.time_for(960), Duration::from_secs(1));
        assert_eq!(wire.bytes_after(Duration::from_secs(1)), 960);
        assert_eq!(wire.bytes_after(Duration::from_micros(1041)), 0);
        assert_eq!(wire.bytes_after(Duration::from_micros(1042)), 1);
        assert_eq!(Wire { baud: 1200, bits: 11 }.time_for(12), Duration::from_millis(110));
    }
}
