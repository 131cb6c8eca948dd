//! What a simulated instrument is told to do, one act after another, and how faults are strewn among the acts.

use std::time::Duration;

use super::rng::Chance;

/// A record ready to be sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Frame {
    /// Its bytes, whole.
    pub bytes: Vec<u8>,
    /// What the listener says to it in its format, if the instrument waits for that.
    pub answers: Option<Answers>,
}

/// What an instrument hears after a record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Answers {
    /// To a good one.
    pub good: Vec<u8>,
    /// To a damaged one, if the format has an answer for that.
    pub bad: Option<Vec<u8>>,
}

impl Frame {
    /// A record that nobody answers.
    pub fn unanswered(bytes: Vec<u8>) -> Self {
        Frame { bytes, answers: None }
    }
}

/// One act.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Act {
    /// Sends a record, at the speed of the line.
    Send(Frame),
    /// Sends a record with something wrong. If the format has answers, the instrument sends it again, whole.
    Spoil(Frame, Spoil),
    /// Sends records in one go, faster than the line could.
    Burst(Vec<Frame>),
    /// Sends this many bytes that belong to no record.
    Noise(usize),
    /// Does nothing, but answers what it is asked. A command to measure cuts it short.
    Pause(Duration),
    /// Waits until all that was sent has been read, answering meanwhile: nothing is sent to nobody. A connection needs
    /// no such wait, for nothing is sent before there is one.
    UntilRead,
    /// Pulls the cable for this long.
    Unplug(Duration),
}

/// What is wrong with a record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Spoil {
    /// One or two bytes are changed.
    Damage,
    /// Its end is missing.
    Truncate,
    /// It is sent a second time.
    Repeat,
}

/// How often faults happen, each as a probability a record.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Rates {
    /// One or two bytes are changed.
    pub damage: f64,
    /// Its end is missing.
    pub truncate: f64,
    /// It is sent a second time.
    pub repeat: f64,
    /// Noise is sent before it.
    pub noise: f64,
    /// It comes after [`SILENCE`].
    pub silence: f64,
    /// It is held back and sent in one go with the next.
    pub burst: f64,
}

/// How long an instrument falls silent by [`Rates::silence`]: longer than a crew waits without looking.
pub const SILENCE: Duration = Duration::from_secs(20);
/// The most noise at once, in bytes: about what a plug scratching in its socket makes at 9600 baud in 30 ms.
const NOISE_MAX_BYTES: usize = 32;

/// Strews faults among the acts. What is damaged, truncated or held back is the record itself: nothing is made up.
pub fn strew(acts: Vec<Act>, rates: Rates, chance: &mut Chance) -> Vec<Act> {
    let mut strewn = Vec::with_capacity(acts.len());
    let mut held: Vec<Frame> = Vec::new();
    for act in acts {
        let Act::Send(frame) = act else {
            strewn.push(act);
            continue;
        };
        if chance.happens(rates.silence) {
            strewn.push(Act::Pause(SILENCE));
        }
        if chance.happens(rates.noise) {
            strewn.push(Act::Noise(1 + chance.below(NOISE_MAX_BYTES)));
        }
        if chance.happens(rates.burst) {
            held.push(frame);
            continue;
        }
        if !held.is_empty() {
            held.push(frame);
            strewn.push(Act::Burst(std::mem::take(&mut held)));
            continue;
        }
        // The three exclude each other, so one throw decides among them.
        let throw = chance.share();
        strewn.push(match throw {
            _ if throw < rates.damage => Act::Spoil(frame, Spoil::Damage),
            _ if throw < rates.damage + rates.truncate => Act::Spoil(frame, Spoil::Truncate),
            _ if throw < rates.damage + rates.truncate + rates.repeat => Act::Spoil(frame, Spoil::Repeat),
            _ => Act::Send(frame),
        });
    }
    if !held.is_empty() {
        strewn.push(Act::Burst(held));
    }
    strewn
}

/// Changes one or two bytes.
pub(super) fn damaged(bytes: &[u8], chance: &mut Chance) -> Vec<u8> {
    let mut damaged = bytes.to_vec();
    if damaged.is_empty() {
        return damaged;
    }
    let first = chance.below(damaged.len());
    damaged[first] ^= flip(chance);
    if chance.happens(0.5) {
        let second = chance.below(damaged.len());
        if second != first {
            damaged[second] ^= flip(chance);
        }
    }
    damaged
}

/// Bits to turn: never none.
fn flip(chance: &mut Chance) -> u8 {
    1 + chance.below(255) as u8
}

/// Keeps a beginning: at least one byte, and never all.
pub(super) fn truncated(bytes: &[u8], chance: &mut Chance) -> Vec<u8> {
    let keep = 1 + chance.below(bytes.len().saturating_sub(1));
    bytes[..keep.min(bytes.len().saturating_sub(1))].to_vec()
}

/// Bytes of any value.
pub(super) fn noise(length: usize, chance: &mut Chance) -> Vec<u8> {
    (0..length).map(|_| chance.bits() as u8).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(number: usize) -> Frame {
        Frame::unanswered(format!("record {number}\r\n").into_bytes())
    }

    fn frames_of(act: &Act) -> Vec<Frame> {
        match act {
            Act::Send(frame) | Act::Spoil(frame, _) => vec![frame.clone()],
            Act::Burst(frames) => frames.clone(),
            Act::Noise(_) | Act::Pause(_) | Act::UntilRead | Act::Unplug(_) => vec![],
        }
    }

    #[test]
    fn faults_come_about_as_often_as_asked_and_lose_no_record() {
        let count = 10_000;
        let acts: Vec<Act> = (0..count).map(|number| Act::Send(frame(number))).collect();
        let rates = Rates { damage: 0.05, truncate: 0.04, repeat: 0.03, noise: 0.06, silence: 0.02, burst: 0.0 };
        let strewn = strew(acts.clone(), rates, &mut Chance::seeded(11));
        assert!(strewn.iter().flat_map(frames_of).eq((0..count).map(frame)), "each once, in order");
        let share = |is: fn(&Act) -> bool| strewn.iter().filter(|act| is(act)).count() as f64 / count as f64;
        let found = [
            (share(|act| matches!(act, Act::Spoil(_, Spoil::Damage))), rates.damage),
            (share(|act| matches!(act, Act::Spoil(_, Spoil::Truncate))), rates.truncate),
            (share(|act| matches!(act, Act::Spoil(_, Spoil::Repeat))), rates.repeat),
            (share(|act| matches!(act, Act::Noise(_))), rates.noise),
            (share(|act| matches!(act, Act::Pause(_))), rates.silence),
        ];
        for (found, asked) in found {
            // Five standard deviations of so many throws.
            assert!((found - asked).abs() < 5.0 * (asked * (1.0 - asked) / count as f64).sqrt(), "{found} for {asked}");
        }
        assert_eq!(strew(acts.clone(), Rates::default(), &mut Chance::seeded(11)), acts);
    }

    #[test]
    fn held_back_records_come_in_one_go_and_in_order() {
        let acts: Vec<Act> = (0..1000).map(|number| Act::Send(frame(number))).collect();
        let rates = Rates { burst: 0.3, ..Rates::default() };
        let strewn = strew(acts, rates, &mut Chance::seeded(5));
        assert!(strewn.iter().flat_map(frames_of).eq((0..1000).map(frame)));
        assert!(strewn.iter().any(|act| matches!(act, Act::Burst(frames) if frames.len() > 2)));
    }

    #[test]
    fn a_spoilt_record_is_never_the_whole_one() {
        let mut chance = Chance::seeded(2);
        for length in 1..40 {
            let whole: Vec<u8> = (0..length).collect();
            for _ in 0..50 {
                let damaged = damaged(&whole, &mut chance);
                let changed = damaged.iter().zip(&whole).filter(|(a, b)| a != b).count();
                assert!(damaged.len() == whole.len() && (1..=2).contains(&changed), "{changed}");
                let truncated = truncated(&whole, &mut chance);
                assert!(whole.starts_with(&truncated) && truncated.len() < whole.len());
                assert!(length == 1 || !truncated.is_empty());
            }
        }
        assert_eq!(damaged(b"", &mut chance), b"");
        assert_eq!(truncated(b"", &mut chance), b"");
    }
}
