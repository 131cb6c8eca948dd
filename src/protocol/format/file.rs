//! The format file as serde sees it. The doc comments here are the reference page and the JSON Schema.
//!
//! Shapes only; what fits together is checked in `grammar`.

use schemars::JsonSchema;
use serde::Deserialize;

use super::written::{At, Figure, Octets, Pairs, PerUnit, Width};

/// A record format of a digital level: how its records are framed, checked, taken apart and understood.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "closerun record format", rename = "Format")]
pub(crate) struct File {
    /// Version of this language. Always `1`.
    pub(crate) format: At<u32>,
    /// Short name by which the format is asked for: small letters, digits and `-`.
    pub(crate) name: At<String>,
    /// One line that says what the format is.
    pub(crate) title: At<String>,
    /// How characters are encoded: `ascii` unless given.
    #[serde(default)]
    pub(crate) text: Encoding,
    /// How the line is set.
    #[serde(default)]
    pub(crate) link: LinkFile,
    /// Where a frame begins and ends in the stream of bytes.
    pub(crate) frame: At<FrameFile>,
    /// Checks over each frame, in the order in which they stand in it.
    #[serde(default)]
    pub(crate) check: Vec<At<CheckFile>>,
    /// The kinds of record. The first whose fixed parts fit a frame is taken.
    pub(crate) record: Vec<At<RecordFile>>,
    /// What may be sent to the instrument. Nothing is sent that does not stand here.
    #[serde(default)]
    pub(crate) talk: TalkFile,
    /// Frames with what must come out of them.
    #[serde(default)]
    pub(crate) example: Vec<At<ExampleFile>>,
}

/// Character encoding.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Encoding {
    /// Printable characters from space to `~`.
    #[default]
    Ascii,
    /// ISO 8859-1, one byte a character.
    #[serde(rename = "latin-1")]
    Latin1,
    /// UTF-8, one to four bytes a character.
    #[serde(rename = "utf-8")]
    Utf8,
}

/// How the line is set. Flags and settings of the user win over these.
#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Link")]
pub(crate) struct LinkFile {
    /// Speed in baud.
    pub(crate) baud: Option<At<u32>>,
    /// Data bits: 5 to 8.
    pub(crate) data_bits: Option<At<u8>>,
    /// Parity bit.
    pub(crate) parity: Option<Parity>,
    /// Stop bits: 1 or 2.
    pub(crate) stop_bits: Option<At<u8>>,
    /// Flow control.
    pub(crate) flow: Option<Flow>,
    /// Silence in milliseconds that ends a record; an unfinished one is given up after it.
    pub(crate) silence_ms: Option<At<u32>>,
    /// Seconds of silence that are usual between records.
    pub(crate) quiet_s: Option<At<u32>>,
    /// Bluetooth Low Energy service that carries the bytes.
    pub(crate) ble: Option<BleFile>,
}

/// Parity bit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Parity {
    /// No parity bit.
    None,
    /// The number of ones is made even.
    Even,
    /// The number of ones is made odd.
    Odd,
}

/// Flow control.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Flow {
    /// No flow control.
    None,
    /// By the control characters XON and XOFF.
    Software,
    /// By the lines RTS and CTS.
    Hardware,
}

/// Bluetooth Low Energy service and characteristics, as UUIDs.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Ble")]
pub(crate) struct BleFile {
    /// The service.
    pub(crate) service: At<String>,
    /// The characteristic whose notifications carry what the instrument sends.
    pub(crate) notify: At<String>,
    /// The characteristic that takes what is sent to the instrument.
    pub(crate) write: Option<At<String>>,
}

impl<T: PartialEq> PartialEq for At<T> {
    fn eq(&self, other: &Self) -> bool {
        self.value == other.value
    }
}
impl<T: Eq> Eq for At<T> {}

/// Where a frame begins and ends.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Frame")]
pub(crate) struct FrameFile {
    /// How frames are found.
    pub(crate) kind: At<FrameKind>,
    /// `delimited`, `fixed`, `prefixed`: the bytes that begin a frame.
    pub(crate) start: Option<At<Octets>>,
    /// `line`: the bytes that end it, or `"any"` for LF, CR and CR LF alike. `delimited`, `prefixed`: the bytes that
    /// end a frame.
    pub(crate) end: Option<At<Octets>>,
    /// The longest frame in bytes, 4096 unless given, at most 65536.
    pub(crate) max: Option<At<usize>>,
    /// `fixed`: the length of every frame in bytes, start included.
    pub(crate) size: Option<At<usize>>,
    /// `prefixed`: where the length stands and what it counts.
    pub(crate) length: Option<At<LengthFile>>,
    /// `delimited`: how bytes that would look like start or end are hidden inside a frame.
    pub(crate) escape: Option<At<EscapeFile>>,
    /// `block`: how the opening line begins.
    pub(crate) open: Option<At<Octets>>,
    /// `block`: the closing line, whole.
    pub(crate) close: Option<At<Octets>>,
    /// What is said of bytes between frames: `ignore` unless given.
    #[serde(default)]
    pub(crate) noise: Noise,
}

/// How frames are found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum FrameKind {
    /// One frame a line; it ends with `end`.
    Line,
    /// From `start` to `end`.
    Delimited,
    /// Always `size` bytes.
    Fixed,
    /// A length near its start says how long it is.
    Prefixed,
    /// It ends when the line falls silent for `link.silence_ms`.
    Silence,
    /// Several lines from an opening to a closing line; other lines are frames of their own.
    Block,
}

/// What is said of bytes between frames.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Noise {
    /// They are kept and set aside.
    #[default]
    Ignore,
    /// They are kept and raised as a finding.
    Refuse,
}

/// Where the length of a frame stands and what it counts.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Length")]
pub(crate) struct LengthFile {
    /// Its place, counted from 0 at the first byte of the frame. Where bytes stand between `start` and the length, the
    /// records describe them, with a field `is = "length"` in its place.
    pub(crate) at: At<usize>,
    /// How many bytes it takes: 1 to 4 in binary, 1 to 5 as text.
    pub(crate) bytes: At<usize>,
    /// Byte order of a binary length.
    #[serde(default)]
    pub(crate) order: Order,
    /// How it is written: `binary` unless given.
    #[serde(default)]
    pub(crate) form: Form,
    /// What it counts.
    pub(crate) counts: Counts,
    /// What is added to that count before it is sent: 0 unless given.
    #[serde(default)]
    pub(crate) plus: i32,
}

/// What a length counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Counts {
    /// The whole frame.
    Frame,
    /// Everything behind the length.
    Rest,
    /// Behind the length, without checks and end.
    Body,
}

/// Byte order.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Order {
    /// The most significant byte first.
    #[default]
    Big,
    /// The least significant byte first.
    Little,
}

/// How a length or a check is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Form {
    /// As bytes.
    #[default]
    Binary,
    /// As decimal digits, zeros in front.
    Decimal,
    /// As hexadecimal digits with capital letters.
    Hex,
    /// As hexadecimal digits with small letters.
    HexLower,
}

/// How bytes that would look like start or end are hidden inside a frame.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Escape")]
pub(crate) struct EscapeFile {
    /// The byte that says: the next one is hidden.
    pub(crate) byte: u8,
    /// A hidden byte is sent as itself exclusive-or this. `0` sends it as it is (doubling).
    pub(crate) flip: Option<At<u8>>,
    /// Which byte is sent in place of which: `[[0xC0, 0xDC], [0xDB, 0xDD]]` sends 0xC0 as escape, 0xDC.
    pub(crate) replaces: Option<At<Vec<[u8; 2]>>>,
}

/// A check over a frame.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Check")]
pub(crate) struct CheckFile {
    /// How it is computed.
    pub(crate) kind: At<CheckKind>,
    /// `crc`: its catalogue name, such as `CRC-16/ARC`.
    pub(crate) name: Option<At<String>>,
    /// `sum`: how many bytes wide it is, 1 to 4; 1 unless given.
    pub(crate) bytes: Option<At<usize>>,
    /// `xor`, `sum`: what it begins with; 0 unless given.
    pub(crate) first: Option<At<u32>>,
    /// `sum`: what is done to it at the end.
    #[serde(default)]
    pub(crate) finish: Finish,
    /// `modulo`: the number that it is the remainder of, 2 to 255.
    pub(crate) modulus: Option<At<u8>>,
    /// `modulo`: the factors by which the characters are multiplied in turn; `[1]` unless given.
    pub(crate) weights: Option<At<Vec<u8>>>,
    /// `modulo`: what is added up, the character codes unless given.
    #[serde(default)]
    pub(crate) of: Of,
    /// How it is written: `binary` unless given; `mod97` and `modulo` are decimal unless given.
    pub(crate) form: Option<At<Form>>,
    /// How many characters it takes as text; as many as its largest value needs unless given.
    pub(crate) digits: Option<At<usize>>,
    /// Byte order of a binary check.
    #[serde(default)]
    pub(crate) order: Order,
    /// Literal bytes that stand before it, such as `"*"`.
    pub(crate) after: Option<At<Octets>>,
    /// Where the part it covers begins: the first byte of the frame is 0. `"body"`, unless given, is the first byte
    /// behind `start`.
    #[serde(default)]
    pub(crate) from: From,
    /// Where the part it covers ends.
    #[serde(default)]
    pub(crate) to: To,
    /// Where it stands.
    #[serde(default)]
    pub(crate) stands: Stands,
}

/// How a check is computed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum CheckKind {
    /// A cyclic redundancy check by its catalogue name.
    Crc,
    /// Exclusive-or of all bytes. It misses two changes of the same bit.
    Xor,
    /// Sum of all bytes, kept to `bytes`.
    Sum,
    /// The two's complement of the sum of all bytes, kept to 8 bits.
    Lrc,
    /// Remainder of the weighted sum of characters.
    Modulo,
    /// Two digits by ISO/IEC 7064, MOD 97-10, over the decimal digits of the part; other characters are passed over.
    Mod97,
}

/// What is done to a sum at the end.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Finish {
    /// Nothing.
    #[default]
    AsIs,
    /// Every bit is turned.
    OnesComplement,
    /// It is made negative.
    TwosComplement,
}

/// What a `modulo` check adds up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Of {
    /// The character codes.
    #[default]
    Codes,
    /// The values of the decimal digits; other characters are passed over.
    Digits,
}

/// Where the part that a check covers begins.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) enum From {
    /// Behind the start bytes.
    #[default]
    Body,
    /// So many bytes from the first byte of the frame.
    Byte(usize),
}

/// Where the part that a check covers ends.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum To {
    /// Before the literal `after` that stands before the check.
    #[default]
    Mark,
    /// Before the check itself: `after` is covered too. For a check behind the end, the end is covered too.
    Check,
}

/// Where a check stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Stands {
    /// Behind the fields, before the end of the frame.
    #[default]
    BeforeEnd,
    /// Behind the end bytes.
    BehindEnd,
}

/// A kind of record.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Record")]
pub(crate) struct RecordFile {
    /// Its name: small letters, digits and `-`.
    pub(crate) name: At<String>,
    /// What such a record is.
    pub(crate) kind: RecordKind,
    /// Literal bytes that it begins with; they also tell it from the others.
    pub(crate) begins: Option<At<Octets>>,
    /// Literal bytes that it ends with.
    pub(crate) ends: Option<At<Octets>>,
    /// How its fields lie.
    pub(crate) layout: Option<At<LayoutKind>>,
    /// `separated`: what stands between the fields. `keyed`: what stands between the pairs.
    pub(crate) separator: Option<At<Octets>>,
    /// `separated`: several separators in a row count as one.
    #[serde(default)]
    pub(crate) separator_repeats: bool,
    /// `separated`: the record may end early, before a run of optional fields.
    #[serde(default)]
    pub(crate) short: bool,
    /// `keyed`: what stands between key and value.
    pub(crate) joins: Option<At<Octets>>,
    /// `keyed`, `json`: what is done with keys that the file does not name: `refuse` unless given.
    #[serde(default)]
    pub(crate) others: Others,
    /// `lines`: what ends each line but the last.
    pub(crate) line_end: Option<At<Octets>>,
    /// `lines`: the lines in order.
    #[serde(default)]
    pub(crate) lines: Vec<At<LineFile>>,
    /// Its fields.
    #[serde(default)]
    pub(crate) fields: Vec<At<FieldFile>>,
}

/// What a record is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RecordKind {
    /// A staff reading.
    Reading,
    /// The state of the instrument.
    Status,
    /// The instrument could not measure.
    Fault,
    /// Our own command coming back.
    Echo,
    /// Anything else that is known and of no use.
    Ignored,
}

/// How the fields of a record lie.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum LayoutKind {
    /// One behind another with `separator` between them.
    Separated,
    /// In fixed columns; each field says which.
    Columns,
    /// As pairs of key and value, in any order.
    Keyed,
    /// One JSON object; each field has its pointer.
    Json,
    /// Bytes in order; each field says how many.
    Binary,
    /// Literals and fields one behind another.
    Parts,
    /// Several lines, each with its own layout.
    Lines,
}

/// What is done with keys that the file does not name.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Others {
    /// The record is refused.
    #[default]
    Refuse,
    /// They are passed over.
    Ignore,
}

/// One line of a record of several.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Line")]
pub(crate) struct LineFile {
    /// Literal bytes that it begins with.
    pub(crate) begins: Option<At<Octets>>,
    /// How its fields lie: `separated`, `columns` or `parts`.
    pub(crate) layout: Option<At<LayoutKind>>,
    /// `separated`: what stands between the fields.
    pub(crate) separator: Option<At<Octets>>,
    /// `separated`: several separators in a row count as one.
    #[serde(default)]
    pub(crate) separator_repeats: bool,
    /// Its fields.
    #[serde(default)]
    pub(crate) fields: Vec<At<FieldFile>>,
}

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
    /// What fills it up to its width: `" "`, `"0"` or another character.
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
    /// A whole number in hexadecimal digits.
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

/// What may be sent to the instrument.
#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Talk")]
pub(crate) struct TalkFile {
    /// Sent in order when the link was opened.
    #[serde(default)]
    pub(crate) greeting: Vec<At<Octets>>,
    /// What we send comes back: it is known again and set aside.
    #[serde(default)]
    pub(crate) echo: bool,
    /// Named commands.
    #[serde(default)]
    pub(crate) command: Vec<At<CommandFile>>,
    /// Sent again and again.
    #[serde(default)]
    pub(crate) poll: Vec<At<PollFile>>,
    /// Answers that the instrument waits for.
    pub(crate) acknowledge: Option<At<AcknowledgeFile>>,
}

/// A named command.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Command")]
pub(crate) struct CommandFile {
    /// Its name.
    pub(crate) name: At<String>,
    /// What it makes the instrument do.
    pub(crate) does: Does,
    /// The bytes, whole, line end included.
    pub(crate) send: At<Octets>,
}

/// What a command makes the instrument do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Does {
    /// It takes a reading.
    Measure,
    /// It sends its state.
    Status,
    /// Something else.
    Other,
}

/// Bytes sent again and again.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Poll")]
pub(crate) struct PollFile {
    /// Seconds between two of them.
    pub(crate) every_s: At<u32>,
    /// The bytes, whole.
    pub(crate) send: At<Octets>,
}

/// Answers that the instrument waits for.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Acknowledge")]
pub(crate) struct AcknowledgeFile {
    /// The records that are answered; all unless given.
    pub(crate) records: Option<At<Vec<At<String>>>>,
    /// The answer to a good one. `{name}` stands for the field of that name, as it was sent.
    pub(crate) good: At<Octets>,
    /// The answer to a damaged one.
    pub(crate) bad: Option<At<Octets>>,
    /// How a record that is sent again is known.
    pub(crate) resent: Resent,
}

/// How a record that is sent again is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Resent {
    /// It never is.
    Never,
    /// It has the sequence number of the record before.
    Sequence,
    /// All its bytes are those of the record before.
    Bytes,
}

/// A frame and what must come out of it.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Example")]
pub(crate) struct ExampleFile {
    /// What it shows.
    pub(crate) about: Option<String>,
    /// The frame as text, line end included.
    pub(crate) text: Option<At<String>>,
    /// The frame in hexadecimal; spaces do not count.
    pub(crate) hex: Option<At<String>>,
    /// The name of the record that it must be taken for.
    pub(crate) record: Option<At<String>>,
    /// What its fields must hold, by name: numbers as written out, lengths with their unit (`"1.28340 m"`).
    #[serde(default)]
    pub(crate) gives: Pairs<Figure>,
    /// It must be refused, and the reason must contain this.
    pub(crate) refused: Option<At<String>>,
    /// It must be set aside as noise.
    #[serde(default)]
    pub(crate) noise: bool,
}
