//! What the instrument shows while it works: each shot as its display would have it, and what went wrong on the way.

use std::collections::VecDeque;
use std::io::{self, Write};
use std::sync::{Arc, Mutex, PoisonError};

use tokio::sync::Notify;

use crate::simulate::scene::Shot;
use crate::simulate::{Act, Seen, Sort, Tally};

/// The sentences of what is about to be sent, one for each sending, in order.
#[derive(Clone)]
pub(super) struct Display {
    expected: Arc<Mutex<VecDeque<Vec<String>>>>,
    idle: Arc<Notify>,
}

impl Display {
    /// One that tells `idle` when the instrument has done all that it was given.
    pub(super) fn new(idle: Arc<Notify>) -> Self {
        Display { expected: Arc::default(), idle }
    }

    /// Takes note of what is going to be sent: the acts in order, which hold these shots in order.
    pub(super) fn expect<'s>(&self, acts: &[Act], mut shots: impl Iterator<Item = &'s Shot>) {
        let mut expected = self.expected.lock().unwrap_or_else(PoisonError::into_inner);
        for act in acts {
            let count = match act {
                Act::Send(_) | Act::Spoil(..) => 1,
                Act::Burst(frames) => frames.len(),
                Act::Noise(_) | Act::Pause(_) | Act::UntilRead | Act::Unplug(_) => continue,
            };
            expected.push_back(shots.by_ref().take(count).map(in_words).collect());
        }
    }

    /// What the instrument's thread tells.
    pub(super) fn observer(&self) -> impl FnMut(Seen<'_>) + Send + 'static {
        let display = self.clone();
        move |seen| match seen {
            Seen::At(port) => say(&format!("on {port} again")),
            Seen::Sent { bytes, sort } => display.sent(bytes.len(), sort),
            Seen::Idle => display.idle.notify_one(),
        }
    }

    fn sent(&self, length: usize, sort: Sort) {
        let remark = match sort {
            Sort::Record => "",
            Sort::Damaged => "DAMAGED on the way",
            Sort::Truncated => "TRUNCATED",
            Sort::Burst => "in one go",
            Sort::Noise => return say(&format!("{length} bytes of NOISE")),
            Sort::Repeated => return say("sent a second time, REPEATED"),
            Sort::Again => return say("sent again: no good answer came"),
            Sort::Status => return say("its state, as asked"),
            Sort::Echo => return,
        };
        let shots = self.expected.lock().unwrap_or_else(PoisonError::into_inner).pop_front().unwrap_or_default();
        for shot in shots {
            say(format!("{shot}  {remark}").trim_end());
        }
    }
}

/// A shot as the display of the instrument shows it.
fn in_words(shot: &Shot) -> String {
    let reading = &shot.reading;
    let number = reading.sequence.unwrap_or_default();
    let sight = reading.sight.map(|sight| format!("{} {}", sight.digits(), sight.unit())).unwrap_or_default();
    let (staff, unit) = (reading.staff.digits(), reading.staff.unit());
    format!("{number:>4}  {:<5} {:<8} {staff:>10} {unit}  {sight:>9}", shot.role.word(), shot.point)
}

/// What it did, counted.
pub(super) fn count(tally: &Tally) {
    let counted = [
        (tally.records, "records"),
        (tally.damaged, "damaged"),
        (tally.truncated, "truncated"),
        (tally.repeated, "repeated"),
        (tally.again, "sent again"),
        (tally.unanswered, "unanswered"),
        (tally.bursts, "in one go"),
        (tally.noise, "times noise"),
        (tally.cut_off, "cut off"),
    ];
    let said = counted.iter().filter(|(count, what)| *count > 0 || *what == "records");
    let said: Vec<String> = said.map(|(count, what)| format!("{count} {what}")).collect();
    say(&format!("{}, {} bytes", said.join(", "), tally.bytes));
}

/// A closed pipe is no reason to stop shooting.
fn say(sentence: &str) {
    let _ = writeln!(io::stdout(), "{sentence}");
}
