//! Fields: where each stands, how it is written, what it means, as the file says it.

use schemars::JsonSchema;
use serde::Deserialize;

use super::Order;
use crate::protocol::format::written::{At, Figure, Octets, Pairs, PerUnit, Width};

/// A field of a record.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Field")]
pub(crate) struct FieldFile {
    /// Its name; what it means unless given.
    pub(crate) name: Option<At<String>>,
    /// What it means to the book.
    pub(crate) means: Option<At<Means>>,
    /// How it is written.
    pub(crate) is: At<Is>,

    /// `columns`: its first and last column, counted from 1.
    pub(crate) columns: Option<At<[usize; 2]>>,
    /// `keyed`: its key.
    pub(crate) key: Option<At<String>>,
    /// `json`: its JSON Pointer (RFC 6901), such as `/shot/height`.
    pub(crate) pointer: Option<At<String>>,
    /// `json`: it stands in quotes. Texts, times and choices do unless told otherwise, numbers do not.
    pub(crate) quoted: Option<At<bool>>,
    /// `binary`: its place, counted from 0 at the first field; not needed, but checked where given.
    pub(crate) at: Option<At<usize>>,
    /// No separator stands before it: it follows the field before directly.
    #[serde(default)]
    pub(crate) joined: bool,
    /// Literal bytes directly before its value.
    pub(crate) before: Option<At<Octets>>,
    /// Literal bytes directly behind its value.
    pub(crate) behind: Option<At<Octets>>,

    /// How many characters it has, sign, point and padding included.
    pub(crate) width: Option<At<Width>>,
    /// What fills it up to its width: `" "`, `"0"` or another character; `"\u0000"` for a text among bytes.
    pub(crate) pad: Option<At<String>>,
    /// On which side the value stands in a padded field: numbers right, texts left unless given.
    pub(crate) align: Option<At<Align>>,
    /// `decimal`: exactly so many digits stand behind the point. `float`: it is written out with so many.
    pub(crate) decimals: Option<At<PerUnit>>,
    /// No point is sent: the last so many digits stand behind it.
    pub(crate) implied: Option<At<PerUnit>>,
    /// The number sent counts steps of so many units of its last digit: a step of 0.0005 is `implied = 4, times = 5`.
    pub(crate) times: Option<At<u32>>,
    /// `decimal`: the decimal mark, `.` unless given.
    pub(crate) mark: Option<At<Mark>>,
    /// How a sign is written.
    pub(crate) sign: Option<At<Sign>>,
    /// Where a sign stands: in front unless given.
    pub(crate) sign_at: Option<At<SignAt>>,

    /// `binary` layout: how many bytes it takes.
    pub(crate) bytes: Option<At<usize>>,
    /// Byte order of a binary number.
    pub(crate) order: Option<At<Order>>,
    /// `flags`: what its bits say.
    #[serde(default)]
    pub(crate) bits: Vec<At<BitFile>>,

    /// `literal`: its bytes; they also tell the record from the others.
    pub(crate) literal: Option<At<Octets>>,
    /// `choice`: what may be sent, and what each means.
    pub(crate) values: Option<At<Pairs<String>>>,
    /// `choice`: other values are taken as text. Unless given they are refused.
    #[serde(default)]
    pub(crate) open: bool,
    /// `choice`: the record is told from the others by this field holding one of its values.
    #[serde(default)]
    pub(crate) chooses: bool,

    /// Unit: `m`, `mm`, `ft` (international) or `sft` (US survey); a temperature has `C` or `F`, a tilt `arcmin`,
    /// `arcsec` or `deg`.
    pub(crate) unit: Option<At<String>>,
    /// The `choice` field that names the unit; its values mean units.
    pub(crate) unit_from: Option<At<String>>,
    /// Least and greatest value; outside it the record is refused.
    pub(crate) range: Option<At<[Figure; 2]>>,

    /// It may be empty or missing.
    #[serde(default)]
    pub(crate) optional: bool,
    /// Texts that stand for no value, such as `["----", "9999.9"]`.
    #[serde(default)]
    pub(crate) absent: Vec<At<Octets>>,

    /// `text`: which characters it may hold.
    pub(crate) chars: Option<At<Chars>>,
    /// `time`: `YYYY`, `YY`, `MM`, `DD`, `hh`, `mm`, `ss`, `fff` and literal characters: `YYYY-MM-DD hh:mm:ss`.
    pub(crate) pattern: Option<At<String>>,
    /// `time`: `UTC`, `local`, or a difference to UTC such as `+02:00`.
    pub(crate) zone: Option<At<String>>,
    /// `skip`: what is written there.
    pub(crate) fill: Option<At<Octets>>,
}

/// How a field is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Is {
    /// A number with a decimal point, or with an implied one.
    Decimal,
    /// A whole number.
    Integer,
    /// A number in hexadecimal digits, whole or with an implied point.
    Hex,
    /// Characters.
    Text,
    /// One of several values, each with its meaning.
    Choice,
    /// A date, a time of day, or both.
    Time,
    /// Always the same bytes.
    Literal,
    /// Bytes of no interest.
    Skip,
    /// A binary number without sign.
    Unsigned,
    /// A binary number in two's complement.
    Signed,
    /// An IEEE 754 number of 4 or 8 bytes.
    Float,
    /// Two decimal digits a byte.
    Bcd,
    /// Single bits with meanings.
    Flags,
    /// The length of a `prefixed` frame, where the records hold it.
    Length,
}

/// What a field means to the book.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Means {
    /// The staff reading.
    Staff,
    /// The sight length.
    Sight,
    /// The standard deviation that the instrument states.
    Spread,
    /// How many single measurements were taken.
    Count,
    /// The name of the point.
    Point,
    /// Backsight, foresight or intermediate sight.
    Role,
    /// The instrument's own number for the record.
    Sequence,
    /// The instrument's own time.
    Time,
    /// Air temperature.
    Temperature,
    /// Battery charge in per cent.
    Battery,
    /// Tilt of the instrument.
    Tilt,
    /// The instrument's code for what is wrong.
    Code,
    /// Whether the staff stands inverted: the reading is negative then.
    Inverted,
    /// The unit of other fields.
    Unit,
}

impl Means {
    /// All of them, in order.
    pub const ALL: [Means; Means::Unit as usize + 1] = [
        Means::Staff,
        Means::Sight,
        Means::Spread,
        Means::Count,
        Means::Point,
        Means::Role,
        Means::Sequence,
        Means::Time,
        Means::Temperature,
        Means::Battery,
        Means::Tilt,
        Means::Code,
        Means::Inverted,
        Means::Unit,
    ];

    /// The word of the format language.
    pub fn word(self) -> &'static str {
        match self {
            Means::Staff => "staff",
            Means::Sight => "sight",
            Means::Spread => "spread",
            Means::Count => "count",
            Means::Point => "point",
            Means::Role => "role",
            Means::Sequence => "sequence",
            Means::Time => "time",
            Means::Temperature => "temperature",
            Means::Battery => "battery",
            Means::Tilt => "tilt",
            Means::Code => "code",
            Means::Inverted => "inverted",
            Means::Unit => "unit",
        }
    }
}

/// On which side the value stands in a padded field.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Align {
    /// Padding behind it.
    Left,
    /// Padding in front of it.
    Right,
}

/// The decimal mark.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
pub(crate) enum Mark {
    /// A point.
    #[serde(rename = ".")]
    Point,
    /// A comma.
    #[serde(rename = ",")]
    Comma,
}

/// How a sign is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Sign {
    /// Never: the number is not negative.
    None,
    /// `-` for a negative number, nothing for others.
    Minus,
    /// `+` or `-`, always one of them.
    Both,
    /// A space or `-`, always one of them.
    Space,
    /// `bcd`: the last half byte is the sign, hexadecimal C for plus and D for minus.
    Nibble,
}

/// Where a sign stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum SignAt {
    /// Before the digits.
    Front,
    /// Behind the digits.
    Behind,
}

/// Which characters a text may hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Chars {
    /// Whatever can be seen, and spaces.
    Printable,
    /// 0 to 9.
    Digits,
    /// A to Z and a to z.
    Letters,
    /// Letters and digits.
    Alphanumeric,
}

/// Some bits of a `flags` field.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Bit")]
pub(crate) struct BitFile {
    /// Its name; what it means unless given.
    pub(crate) name: Option<At<String>>,
    /// What it means to the book.
    pub(crate) means: Option<At<Means>>,
    /// Its lowest bit, counted from 0 at the least significant.
    pub(crate) bit: At<u8>,
    /// How many bits: 1 unless given.
    pub(crate) bits: Option<At<u8>>,
    /// What its values mean: `{ "0" = "upright", "1" = "inverted" }`. A number unless given.
    pub(crate) values: Option<At<Pairs<String>>>,
    /// The record is told from the others by these bits holding one of their values.
    #[serde(default)]
    pub(crate) chooses: bool,
}
