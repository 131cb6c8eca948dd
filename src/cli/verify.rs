//! `closerun verify`: is the record as it was kept, and if not, where does it break.

use super::Failure;
use super::arguments::Verify as Arguments;
use super::say;
use crate::store::{Digest, Guards, Job, Verification};

/// Fewer digits of a hash would be met by chance too often: eight leave one in four thousand million.
const DIGITS_MIN: usize = 8;

pub(super) fn run(arguments: &Arguments) -> Result<(), Failure> {
    let written = arguments.written.as_deref().map(Written::parse).transpose()?;
    let reader = Job::read(&arguments.job).map_err(Failure::input)?;
    match reader.verify().map_err(Failure::input)? {
        Verification::Whole { events, head, guards } => {
            say::line(format_args!("whole: {events} events, the last is {} with hash {}", head.seq, head.hash));
            if let Some(written) = written {
                let found = reader.head_at(written.event).map_err(Failure::input)?;
                written.compare(found.map(|head| head.hash), events)?;
            }
            match guards {
                Guards::Standing => Ok(()),
                Guards::Removed => Err(Failure::outcome(
                    "the chain is whole, but the guards against changes were removed by another program",
                )),
            }
        }
        Verification::Broken { at, what, whole_to } => {
            Err(Failure::outcome(format!("broken at event {at}: {what}; whole up to event {}", whole_to.seq)))
        }
    }
}

/// An event as it was written down elsewhere.
struct Written<'a> {
    event: u64,
    hash: &'a str,
}

impl<'a> Written<'a> {
    fn parse(text: &'a str) -> Result<Self, Failure> {
        let parts = text.split_once(':').and_then(|(event, hash)| Some((event.parse().ok()?, hash)));
        match parts {
            Some((event, hash))
                if (DIGITS_MIN..=64).contains(&hash.len()) && hash.bytes().all(|digit| digit.is_ascii_hexdigit()) =>
            {
                Ok(Written { event, hash })
            }
            _ => Err(Failure::input(format!(
                "--written: {text:?} found, an event and at least {DIGITS_MIN} digits of its hash were wanted: \
                 42:3fa9c1d2"
            ))),
        }
    }

    fn compare(&self, found: Option<Digest>, events: u64) -> Result<(), Failure> {
        let Written { event, hash } = self;
        match found.map(|found| format!("{found:.*}", hash.len())) {
            Some(found) if found.eq_ignore_ascii_case(hash) => {
                say::line(format_args!("event {event} is in it as it was written down"));
                Ok(())
            }
            Some(found) => Err(Failure::outcome(format!(
                "event {event} has the hash {found} here, {hash} was written down: this is another record, or one made anew"
            ))),
            None => Err(Failure::outcome(format!(
                "event {event} was written down, this record has {events}: it is another one, or was cut short"
            ))),
        }
    }
}
