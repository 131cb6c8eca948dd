//! Record formats: what an instrument sends, said in a file and not in code.
//!
//! | part | what it does |
//! |---|---|
//! | `format` | the TOML file as serde sees it, and [`Format`], what comes of it |
//! | `grammar` | the checked tree, and the way from the file to it |
//! | `framing` | where a frame begins and ends in the stream |
//! | `checksum` | checks over a frame |
//! | `record` | two walks over the tree: read and write; the only place that knows nom |
//! | `meaning` | from fields to a reading of the book, and back |
//! | [`Decoder`] | bytes in, [`Piece`]s out |
//! | `anatomy` | what each part of a frame was taken for, for people |
//! | `examine` | what can be said of a format without an instrument |
//! | [`draft`] | a format file proposed from a capture |
//! | `reference` | the language described by its own types |
//!
//! Pure: no clock, thread, file, socket, environment or logging. Every byte that is pushed comes out in exactly one
//! piece, in order, whatever the chunks were; the work is linear in the bytes and every buffer is bounded by `limits`.
//!
//! Two families of errors never mix: [`FormatErrors`] say what is wrong with a file, a `Refusal` what is wrong with a
//! record. Different people mend them.

mod anatomy;
mod checksum;
mod decoder;
pub mod draft;
mod errors;
mod examine;
mod examples;
mod format;
mod framing;
#[cfg(test)]
mod generated;
mod grammar;
pub mod limits;
pub mod link;
mod meaning;
mod record;
mod reference;
mod shipped;
pub mod talk;

pub use anatomy::{Anatomy, Part, What};
pub use decoder::{Decoder, Piece};
pub use errors::{FormatError, FormatErrors};
pub use examine::{Alike, Bounds, Examination, Told};
pub use examples::ExampleFailure;
pub use format::Format;
pub use format::file::{Means, RecordKind};
pub use link::LinkDefaults;
pub use meaning::Delivers;
pub use record::{Content, Record, WriteError};
pub use reference::{reference, schema};
pub use shipped::{Unknown, find, shipped};
pub use talk::Talk;
