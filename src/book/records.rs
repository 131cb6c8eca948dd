//! What the link has brought, apart from readings: sums of bytes, damage, repeats, silence, and the clock.

use std::collections::{HashMap, VecDeque};
use std::hash::{DefaultHasher, Hasher};

use super::event::{Event, LinkState};
use super::finding::{Finding, FindingId, FindingKey, Place, Priority};
use super::moment::Moment;
use super::reading::{Heard, Reading, Status};

/// An identical record this soon after the first is the same one sent twice: no instrument reads a staff so fast.
/// Common practice, no source.
const RESENT_WITHIN_US: i64 = 2_000_000;

/// How many records back a resent one is looked for.
const RECENT_MAX: usize = 8;

/// How many numbered records are known again when an instrument sends its memory: more than the longest job has, and 1 MiB.
const NUMBERED_MAX: usize = 1 << 16;

/// How many findings about records stand at once; older ones give way, their announcements stay in the record.
const STANDING_MAX: usize = 16;

/// Bytes by what became of them. The sum is every byte that the link gave.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Bytes {
    /// In records that were understood: readings, states, faults, echoes.
    pub understood: u64,
    /// Set aside by a rule of the format, or noise between frames.
    pub ignored: u64,
    /// Refused.
    pub refused: u64,
    /// In records whose end or start was never seen.
    pub unfinished: u64,
}

impl Bytes {
    /// All bytes.
    pub fn total(self) -> u64 {
        self.understood + self.ignored + self.refused + self.unfinished
    }
}

/// What the link has brought.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Records {
    /// Bytes by what became of them.
    pub bytes: Bytes,
    /// How many records were refused.
    pub refused: u64,
    /// How many were sent again.
    pub repeated: u64,
    /// The link's state, once it has one.
    pub link: Option<LinkState>,
    /// When something last came.
    pub heard_at: Option<Moment>,
    /// The instrument's state, as it last told it.
    pub status: Option<Status>,
    recent: VecDeque<Recent>,
    /// Numbered records of the job, by a hash of their bytes, with the event of each.
    numbered: HashMap<u64, u64>,
    findings: VecDeque<Finding>,
    pub(super) announced: Vec<FindingKey>,
}

#[derive(Clone, Debug, PartialEq)]
struct Recent {
    event: u64,
    at: Moment,
    sequence: Option<u64>,
    raw: Vec<u8>,
}

impl Records {
    /// The event that a reading repeats, if it was sent before.
    pub(super) fn repeats(&self, at: Moment, raw: &[u8], reading: &Reading) -> Option<u64> {
        let same = |recent: &&Recent| {
            let may_be = match (recent.sequence, reading.sequence) {
                (Some(then), Some(now)) => then == now,
                _ => (0..=RESENT_WITHIN_US).contains(&(at.us() - recent.at.us())),
            };
            may_be && recent.raw == raw
        };
        let recent = self.recent.iter().rev().find(same).map(|recent| recent.event);
        recent.or_else(|| reading.sequence.and_then(|_| self.numbered.get(&hash(raw)).copied()))
    }

    /// Takes in what came.
    pub(super) fn hear(&mut self, event: &Event, heard: &Heard) {
        self.heard_at = Some(event.at);
        let bytes = event.raw.len() as u64;
        match heard {
            Heard::Reading(reading) | Heard::SetAside { reading, .. } => {
                self.bytes.understood += bytes;
                self.remember(event, reading.sequence);
                self.drop_findings(&[FindingId::MachineSlept]);
                if let Heard::SetAside { why, .. } = heard {
                    self.drop_findings(&[FindingId::InstrumentFault]);
                    self.find(set_aside(event.seq, why));
                } else {
                    self.drop_findings(&[FindingId::InstrumentFault, FindingId::UnitDoubt]);
                }
            }
            Heard::Status(status) => {
                self.bytes.understood += bytes;
                self.status = Some(status.clone());
            }
            Heard::Fault { code, meaning } => {
                self.bytes.understood += bytes;
                self.find(fault(event.seq, code, meaning.as_deref()));
            }
            Heard::Echo => self.bytes.understood += bytes,
            Heard::Repeated { of } => {
                self.bytes.understood += bytes;
                self.repeated += 1;
                self.find(repeated(event.seq, *of));
            }
            Heard::Ignored { .. } => self.bytes.ignored += bytes,
            Heard::Refused(refusal) => {
                self.bytes.refused += bytes;
                self.refused += 1;
                // A burst of damage is one finding: it is said when it begins.
                let burst = self.findings.back().is_some_and(|last| last.key.id == FindingId::RecordRefused)
                    && self.recent.back().is_none_or(|recent| {
                        Place::Event(recent.event) < self.findings.back().map_or(Place::Job, |f| f.key.place.clone())
                    });
                if !burst {
                    self.find(refused(event.seq, &refusal.reason, refusal.at_byte));
                }
            }
            Heard::Unfinished | Heard::Fragment => self.bytes.unfinished += bytes,
        }
    }

    /// Takes in a change of the link.
    pub(super) fn link_changed(&mut self, seq: u64, state: &LinkState) {
        let was = self.link.replace(state.clone());
        let went = !matches!(was, Some(LinkState::Lost { .. } | LinkState::Waiting { .. }));
        match state {
            LinkState::Open | LinkState::Finished => self.drop_findings(&[FindingId::LinkQuiet, FindingId::LinkLost]),
            LinkState::Quiet { for_s } => self.find(plain(
                FindingId::LinkQuiet,
                seq,
                Priority::Warn,
                format!("nothing heard for {for_s} s"),
                "look at the cable, the battery and the instrument's output".to_owned(),
            )),
            LinkState::Babble { sample } => self.find(plain(
                FindingId::LinkQuiet,
                seq,
                Priority::Hold,
                format!("bytes come but no record is among them: {sample}"),
                "compare speed, parity and format with the instrument's settings".to_owned(),
            )),
            LinkState::Lost { why } if went => self.find(link_lost(seq, format!("link lost: {why}"))),
            LinkState::Waiting { why } if went => self.find(link_lost(seq, format!("no link: {why}"))),
            LinkState::Lost { .. } | LinkState::Waiting { .. } => {}
        }
    }

    /// Takes in a jump of the clock.
    pub(super) fn clock_stepped(&mut self, seq: u64, by_ms: i64) {
        self.find(plain(
            FindingId::ClockStepped,
            seq,
            Priority::Note,
            format!("the clock of this machine jumped by {:+.1} s", by_ms as f64 / 1000.0),
            "the order of the readings is not touched; their times are in doubt about here".to_owned(),
        ));
    }

    /// Takes in that the machine slept. It stands until a record shows that the link has outlived it.
    pub(super) fn slept(&mut self, seq: u64, for_s: u64) {
        let time = if for_s < 120 { format!("{for_s} s") } else { format!("{} min", for_s / 60) };
        self.find(plain(
            FindingId::MachineSlept,
            seq,
            Priority::Hold,
            format!("this machine slept for {time} and heard nothing"),
            "what was shot meanwhile may be missing: shoot once more, which also shows that the link is well"
                .to_owned(),
        ));
    }

    /// What is found about records and link, as it stands.
    pub fn findings(&self) -> impl DoubleEndedIterator<Item = &Finding> + Clone {
        self.findings.iter()
    }

    /// Keeps a record to know it again, in the room of the oldest.
    fn remember(&mut self, event: &Event, sequence: Option<u64>) {
        let oldest = if self.recent.len() == RECENT_MAX { self.recent.pop_front() } else { None };
        let mut raw = oldest.map_or_else(Vec::new, |oldest| oldest.raw);
        raw.clone_from(&event.raw);
        if sequence.is_some() && self.numbered.len() < NUMBERED_MAX {
            self.numbered.entry(hash(&raw)).or_insert(event.seq);
        }
        self.recent.push_back(Recent { event: event.seq, at: event.at, sequence, raw });
    }

    fn find(&mut self, finding: Finding) {
        if self.findings.len() == STANDING_MAX {
            self.findings.pop_front();
        }
        self.findings.push_back(finding);
    }

    fn drop_findings(&mut self, ids: &[FindingId]) {
        self.findings.retain(|finding| !ids.contains(&finding.key.id));
    }
}

/// Two records of a job share it by chance once in a thousand million jobs.
fn hash(raw: &[u8]) -> u64 {
    let mut hasher = DefaultHasher::new();
    hasher.write(raw);
    hasher.finish()
}

fn plain(id: FindingId, seq: u64, priority: Priority, fact: String, todo: String) -> Finding {
    let key = FindingKey { place: Place::Event(seq), id };
    Finding { key, priority, fact, todo, value: None, limit: None, basis: None, over: true }
}

fn refused(seq: u64, reason: &str, at_byte: usize) -> Finding {
    let fact = format!("record refused: {reason}, at byte {at_byte}; the bytes are kept as event {seq}");
    plain(FindingId::RecordRefused, seq, Priority::Warn, fact, "shoot again if that was a reading".to_owned())
}

fn repeated(seq: u64, of: u64) -> Finding {
    let fact = format!("event {seq} repeats the record of event {of}: used once, kept twice");
    plain(FindingId::RecordRepeated, seq, Priority::Note, fact, "nothing to do".to_owned())
}

fn fault(seq: u64, code: &str, meaning: Option<&str>) -> Finding {
    let fact = match meaning {
        Some(meaning) => format!("the instrument reports: {meaning} (code {code})"),
        None => format!("the instrument reports code {code}, which its format file does not explain"),
    };
    plain(FindingId::InstrumentFault, seq, Priority::Warn, fact, "shoot again".to_owned())
}

fn link_lost(seq: u64, fact: String) -> Finding {
    let todo = "shots may be missing from here on; it is taken up again when it is back".to_owned();
    plain(FindingId::LinkLost, seq, Priority::Hold, fact, todo)
}

fn set_aside(seq: u64, why: &str) -> Finding {
    plain(
        FindingId::UnitDoubt,
        seq,
        Priority::Hold,
        format!("not booked: {why}"),
        "set the instrument to the job's unit, or restart with that unit declared".to_owned(),
    )
}
