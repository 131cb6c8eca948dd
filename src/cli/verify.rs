//! `closerun verify`: is the record as it was kept, and if not, where does it break.

use super::Failure;
use super::arguments::JobPath;
use super::say;
use crate::store::{self, Guards, Verification};

pub(super) fn run(path: &JobPath) -> Result<(), Failure> {
    match store::verify(&path.job).map_err(Failure::input)? {
        Verification::Whole { events, head, guards } => {
            say::line(format_args!("whole: {events} events, the last is {} with hash {}", head.seq, head.hash));
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
