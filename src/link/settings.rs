//! Settings of a serial port in the trade's short form: `9600 8N1`, `57600 7E1 rts/cts`.

use std::fmt;
use std::str::FromStr;

/// The fastest speed that is taken: the ports in use stop at 3 or 4 million, so more is a slip of the keys.
pub const BAUD_MAX: u32 = 4_000_000;
/// The slowest speed that is taken: 50 baud is the slowest that operating systems name.
pub const BAUD_MIN: u32 = 50;

/// How a serial port is set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SerialSettings {
    /// Bits a second on the line.
    pub baud: u32,
    /// Bits of a character that carry data.
    pub data_bits: DataBits,
    /// The check bit of a character.
    pub parity: Parity,
    /// Bits of rest behind a character.
    pub stop_bits: StopBits,
    /// How a receiver says that it is full.
    pub flow: Flow,
}

/// Bits of a character that carry data.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DataBits {
    /// 5, for teleprinter codes.
    Five,
    /// 6.
    Six,
    /// 7, enough for ASCII.
    Seven,
    /// 8, a byte.
    Eight,
}

/// The check bit of a character.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Parity {
    /// There is none.
    None,
    /// It makes the number of ones odd.
    Odd,
    /// It makes the number of ones even.
    Even,
}

/// Bits of rest behind a character.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StopBits {
    /// 1.
    One,
    /// 2.
    Two,
}

/// How a receiver says that it is full.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Flow {
    /// It cannot.
    None,
    /// By the lines RTS and CTS.
    Hardware,
    /// By the characters XON and XOFF, which then cannot be data.
    Software,
}

impl SerialSettings {
    /// Eight data bits, no parity, one stop bit, no flow control, at this speed.
    pub const fn at(baud: u32) -> Self {
        SerialSettings {
            baud,
            data_bits: DataBits::Eight,
            parity: Parity::None,
            stop_bits: StopBits::One,
            flow: Flow::None,
        }
    }
}

impl fmt::Display for SerialSettings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let data = match self.data_bits {
            DataBits::Five => '5',
            DataBits::Six => '6',
            DataBits::Seven => '7',
            DataBits::Eight => '8',
        };
        let parity = match self.parity {
            Parity::None => 'N',
            Parity::Odd => 'O',
            Parity::Even => 'E',
        };
        let stop = match self.stop_bits {
            StopBits::One => '1',
            StopBits::Two => '2',
        };
        let flow = match self.flow {
            Flow::None => "",
            Flow::Hardware => " rts/cts",
            Flow::Software => " xon/xoff",
        };
        write!(f, "{} {data}{parity}{stop}{flow}", self.baud)
    }
}

impl FromStr for SerialSettings {
    type Err = SettingsError;

    /// `9600`, `9600 7E1`, `9600 7E1 rts/cts`; what is absent is 8N1 without flow control.
    fn from_str(text: &str) -> Result<Self, SettingsError> {
        let refused = |part: &str, wanted| SettingsError { found: part.to_owned(), wanted };
        let mut parts = text.split_ascii_whitespace();
        let speed = parts.next().unwrap_or_default();
        let baud = match speed.parse() {
            Ok(baud) if (BAUD_MIN..=BAUD_MAX).contains(&baud) => baud,
            _ => return Err(refused(speed, Wanted::Speed)),
        };
        let mut settings = SerialSettings::at(baud);
        if let Some(part) = parts.next() {
            (settings.data_bits, settings.parity, settings.stop_bits) =
                character(part).ok_or_else(|| refused(part, Wanted::Character))?;
        }
        if let Some(part) = parts.next() {
            settings.flow = flow(part).ok_or_else(|| refused(part, Wanted::Flow))?;
        }
        match parts.next() {
            Some(part) => Err(refused(part, Wanted::Nothing)),
            None => Ok(settings),
        }
    }
}

fn character(part: &str) -> Option<(DataBits, Parity, StopBits)> {
    let &[data, parity, stop] = part.as_bytes() else { return None };
    let data = match data {
        b'5' => DataBits::Five,
        b'6' => DataBits::Six,
        b'7' => DataBits::Seven,
        b'8' => DataBits::Eight,
        _ => return None,
    };
    let parity = match parity.to_ascii_uppercase() {
        b'N' => Parity::None,
        b'O' => Parity::Odd,
        b'E' => Parity::Even,
        _ => return None,
    };
    let stop = match stop {
        b'1' => StopBits::One,
        b'2' => StopBits::Two,
        _ => return None,
    };
    Some((data, parity, stop))
}

fn flow(part: &str) -> Option<Flow> {
    match part.to_ascii_lowercase().as_str() {
        "none" => Some(Flow::None),
        "rts/cts" => Some(Flow::Hardware),
        "xon/xoff" => Some(Flow::Software),
        _ => None,
    }
}

/// A text that sets no serial port.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SettingsError {
    /// The part that was found.
    pub found: String,
    /// What was wanted in its place.
    pub wanted: Wanted,
}

/// What was wanted of a part of the settings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wanted {
    /// A speed.
    Speed,
    /// Data bits, parity, stop bits.
    Character,
    /// A kind of flow control.
    Flow,
    /// The end.
    Nothing,
}

impl fmt::Display for SettingsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "serial settings: {:?} found, ", self.found)?;
        match self.wanted {
            Wanted::Speed => write!(f, "a speed of {BAUD_MIN} to {BAUD_MAX} baud was wanted, as in 9600 8N1"),
            Wanted::Character => {
                write!(f, "data bits 5 to 8, parity N, O or E and stop bits 1 or 2 were wanted, as in 8N1")
            }
            Wanted::Flow => write!(f, "none, rts/cts or xon/xoff was wanted"),
            Wanted::Nothing => write!(f, "nothing was wanted behind speed, character and flow control"),
        }
    }
}

impl std::error::Error for SettingsError {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_short_form_is_read_and_written() {
        for text in ["9600 8N1", "57600 7E1", "1200 5O2", "115200 6N2 rts/cts", "4800 8E1 xon/xoff"] {
            assert_eq!(text.parse::<SerialSettings>().unwrap().to_string(), text);
        }
        for (short, long) in [("9600", "9600 8N1"), (" 300  7e1 ", "300 7E1"), ("50 8n1 none", "50 8N1")] {
            assert_eq!(short.parse::<SerialSettings>().unwrap().to_string(), long);
        }
    }

    #[test]
    fn a_slip_names_the_part_and_what_would_do() {
        for (text, message) in [
            ("", r#"serial settings: "" found, a speed of 50 to 4000000 baud was wanted, as in 9600 8N1"#),
            ("96OO 8N1", r#"serial settings: "96OO" found, a speed of 50 to 4000000 baud was wanted, as in 9600 8N1"#),
            ("49", r#"serial settings: "49" found, a speed of 50 to 4000000 baud was wanted, as in 9600 8N1"#),
            (
                "9600 9N1",
                r#"serial settings: "9N1" found, data bits 5 to 8, parity N, O or E and stop bits 1 or 2 were wanted, as in 8N1"#,
            ),
            ("9600 8N1 dtr", r#"serial settings: "dtr" found, none, rts/cts or xon/xoff was wanted"#),
            (
                "9600 8N1 none x",
                r#"serial settings: "x" found, nothing was wanted behind speed, character and flow control"#,
            ),
        ] {
            assert_eq!(text.parse::<SerialSettings>().unwrap_err().to_string(), message, "{text:?}");
        }
    }
}
