//! Every bound of this module in one place, each with its reason.
//!
//! No file and no stream of bytes can make the decoder take more than these.

/// The longest format file, in bytes: the shipped ones are a twentieth of it.
pub const FORMAT_FILE_MAX: usize = 64 * 1024;

/// The deepest nesting, of a format file's tables as of a JSON record: people nest three or four deep.
pub const DEPTH_MAX: usize = 32;

/// The most parts (records, fields, values, examples) a format file may have.
pub const NODES_MAX: usize = 2_000;

/// The most kinds of record in one format: each frame is held against all of them in turn.
pub const RECORDS_MAX: usize = 32;

/// The most fields in one record.
pub const FIELDS_MAX: usize = 128;

/// The most parts of one record: fields, literals, and bytes that are passed over.
pub const PARTS_MAX: usize = 256;

/// The most values of one choice: each field that is one is held against all of them.
pub const VALUES_MAX: usize = 256;

/// The most texts that stand for no value in one field, for the same reason.
pub const ABSENT_MAX: usize = 16;

/// The most looks at a frame that it takes to tell its record from the others: each value of a literal or a choosing
/// field is one, and each item that is passed on the way to it.
pub const LOOKS_MAX: usize = 512;

/// The most walks over a whole frame for the same purpose: one for each key or JSON pointer that tells records apart.
pub const SCANS_MAX: usize = 64;

/// The most faults of a format file that are told at once: nobody reads more, and each costs a look at the file.
pub const FAULTS_MAX: usize = 50;

/// The most checks over one frame: each reads it once more.
pub const CHECKS_MAX: usize = 4;

/// The least bound of a frame in bytes that a format may name: each piece of noise so long is one in the record.
pub const FRAME_LEAST: usize = 8;

/// The longest frame in bytes unless the format says otherwise.
pub const FRAME_DEFAULT: usize = 4 * 1024;

/// The longest frame a format may ask for, in bytes.
pub const FRAME_MAX: usize = 64 * 1024;

/// Steps of the walk for each byte of a frame, beyond which the frame is refused as over budget.
pub const STEPS_PER_BYTE: u64 = 128;

/// Steps that every frame has, however short: the choice of the record and its first fields.
pub const STEPS_FREE: u64 = 4_096;

/// The most bytes taken up at once, so that the decoder's buffer stays below one frame and this.
pub const CHUNK_MAX: usize = 16 * 1024;

/// An unfinished record is given up after this silence in milliseconds, where the format names none: at 300 Bd a byte
/// takes 37 ms, so a record still being sent never looks like this.
pub const STALE_MS: u64 = 2_000;

/// The first record of a format that carries no evidence of its start is booked only if the link had been quiet this
/// long in milliseconds since it was opened: longer than any pause inside a record, shorter than between two shots.
pub const JOIN_QUIET_MS: u64 = 300;

/// The longest literal, separator, command or answer in a format file, in bytes.
pub const BYTES_MAX: usize = 256;

/// The longest number as text that a field may hold: sign, point and more digits than any level sends.
pub const NUMBER_MAX: usize = 23;
