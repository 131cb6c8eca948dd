//! A record format: a checked file, with all that can be asked of it.

pub(in crate::protocol) mod file;
pub(in crate::protocol) mod written;

use std::fmt::Write as _;

use sha2::{Digest, Sha256};

use super::anatomy::{self, Anatomy};
use super::errors::{Fault, FormatErrors};
use super::examples::{self, ExampleFailure};
use super::grammar::{self, Grammar};
use super::limits::FORMAT_FILE_MAX;
use super::link::LinkDefaults;
use super::meaning::Delivers;
use super::record::{Record, WriteError};
use super::talk::Talk;
use super::{decoder, meaning, record};
use crate::book::reading::{Heard, Refusal};
use crate::nearest::nearest;

/// A record format.
#[derive(Debug)]
pub struct Format {
    name: String,
    title: String,
    text: String,
    digest: String,
    link: LinkDefaults,
    talk: Talk,
    pub(super) grammar: Grammar,
    examples: Vec<grammar::Example>,
}

impl Format {
    /// Reads and checks a format file.
    ///
    /// # Errors
    /// Everything that is wrong with it, each at its line and column.
    pub fn parse(text: &str) -> Result<Format, FormatErrors> {
        let place = |faults| FormatErrors::place(text, faults);
        if text.len() > FORMAT_FILE_MAX {
            let found = text.len();
            let fault =
                Fault::new(&(0..0), format!("a file of {found} bytes found, at most {FORMAT_FILE_MAX} were wanted"));
            return Err(place(vec![fault]));
        }
        let file: file::File = toml::from_str(text).map_err(|error| place(vec![shape(&error)]))?;
        let built = grammar::build(&file).map_err(place)?;
        let mut digest = String::with_capacity(64);
        for byte in Sha256::digest(text.as_bytes()) {
            let _ = write!(digest, "{byte:02x}");
        }
        Ok(Format {
            name: file.name.value,
            title: file.title.value,
            text: text.to_owned(),
            digest,
            link: built.link,
            talk: built.talk,
            grammar: built.grammar,
            examples: built.examples,
        })
    }

    /// Short name.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// One line that says what the format is.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// The file itself.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// SHA-256 of the file in hexadecimal.
    pub fn digest(&self) -> &str {
        &self.digest
    }

    /// How the line is set.
    pub fn link(&self) -> &LinkDefaults {
        &self.link
    }

    /// What may be sent to the instrument.
    pub fn talk(&self) -> &Talk {
        &self.talk
    }

    /// What the format can tell the book.
    pub fn delivers(&self) -> Delivers {
        Delivers::of(&self.grammar)
    }

    /// Reads one frame.
    ///
    /// # Errors
    /// Where and why the bytes are no frame of this format.
    pub fn read(&self, frame: &[u8]) -> Result<Record, Refusal> {
        decoder::reread(self, frame).map(|reread| reread.record(self))
    }

    /// Writes one framed record.
    ///
    /// # Errors
    /// What cannot be written, and why; whatever would not read back as the same.
    pub fn write(&self, record: &Record) -> Result<Vec<u8>, WriteError> {
        record::write(&self.grammar, record)
    }

    /// The record that says what was heard, as far as the format can say it. What a reading does not hold and the
    /// format wants is filled with the least that can stand there.
    ///
    /// # Errors
    /// No record of that kind, or a value that the format cannot write.
    pub fn record_of(&self, heard: &Heard) -> Result<Record, WriteError> {
        meaning::record_of(&self.grammar, heard)
    }

    /// What each part of a frame was taken for, whether the frame is good or not.
    pub fn anatomy(&self, raw: &[u8]) -> Anatomy {
        anatomy::of(self, raw)
    }

    /// Runs the examples of the file; none that comes back is good.
    pub fn run_examples(&self) -> Vec<ExampleFailure> {
        examples::run(self, &self.examples)
    }

    /// The bytes of a record's fields, without frame and checks.
    #[cfg(test)]
    pub(super) fn fields_of(&self, record: &Record) -> Result<Vec<u8>, WriteError> {
        record::write_fields(&self.grammar, record)
    }

    /// The record in the bytes of its fields.
    #[cfg(test)]
    pub(super) fn read_fields(&self, fields: &[u8]) -> Result<Record, record::Stop> {
        let mut slots = record::Slots::default();
        let rule = record::read(&self.grammar, fields, &mut slots)?;
        Ok(slots.record(&self.grammar.records[rule], fields))
    }

    /// The examples of the file.
    pub(super) fn examples(&self) -> &[grammar::Example] {
        &self.examples
    }

    /// How many examples the file holds.
    pub fn example_count(&self) -> usize {
        self.examples.len()
    }
}

/// What serde or the TOML reader says, with what was probably meant.
fn shape(error: &toml::de::Error) -> Fault {
    let message = error.message().to_owned();
    let fault = Fault::new(&error.span().unwrap_or(0..0), message.clone());
    let mut words = message.split('`').skip(1).step_by(2);
    let unknown = message.starts_with("unknown field") || message.starts_with("unknown variant");
    match words.next() {
        Some(found) if unknown => match nearest(found, words) {
            Some(meant) => fault.advise(format!("did you mean `{meant}`?")),
            None => fault,
        },
        _ => fault,
    }
}
