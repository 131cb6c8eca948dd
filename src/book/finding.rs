//! Findings: what is wrong or doubtful, by how much, against which limit, and what to do now.

use std::fmt;
use std::str::FromStr;

use schemars::JsonSchema;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::reading::PointName;
use crate::units::Length;

/// How urgent a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Priority {
    /// Good to know.
    Note,
    /// Look at it before the run ends.
    Warn,
    /// Do not lift the legs.
    Hold,
}

impl Priority {
    /// The word on every outlet.
    pub fn word(self) -> &'static str {
        match self {
            Priority::Note => "note",
            Priority::Warn => "warn",
            Priority::Hold => "HOLD",
        }
    }
}

/// Declares the finding ids once: the variant, its stored name, and what raises it.
macro_rules! finding_ids {
    ($($variant:ident $name:literal $doc:literal,)*) => {
        /// What kind of thing was found. The names are those of the record.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum FindingId {
            $(#[doc = $doc] $variant,)*
        }

        impl FindingId {
            /// All of them, in the order of the documentation.
            pub const ALL: &'static [FindingId] = &[$(FindingId::$variant,)*];

            /// The name as stored and typed.
            pub fn name(self) -> &'static str {
                match self { $(FindingId::$variant => $name,)* }
            }

            /// When it is raised.
            pub fn raised_when(self) -> &'static str {
                match self { $(FindingId::$variant => $doc,)* }
            }
        }
    };
}

finding_ids! {
    ReadingOffStaff "reading-off-staff" "Outside the staff, or nearer its ends than allowed.",
    LineLow "line-low" "The line of sight is nearer the ground than the class allows.",
    SightLong "sight-long" "The sight is longer than the class or the instrument allows.",
    SightShort "sight-short" "The sight is shorter than the instrument can read.",
    Spread "spread" "The reported deviation, or the range of repeats, is over its limit.",
    SameSight "same-sight" "Looks like one more shot on the staff just read.",
    Balance "balance" "Back less fore sight length of a setup is over its limit.",
    BalanceSum "balance-sum" "The sum of that over the section is over its limit.",
    TwoDifferences "two-differences" "The two height differences of a setup disagree.",
    Sequence "sequence" "The class asks for another observing sequence than the job's.",
    Uncorrected "uncorrected" "A correction that is on could not be made: a sight length or a temperature lacks.",
    SetupGap "setup-gap" "A setup has lost its only backsight or foresight: heights beyond it hang in the air.",
    HeightUnchanged "height-unchanged" "The instrument stands at the forward run's height: the return is not independent.",
    StaffParity "staff-parity" "An odd number of setups between marks with a pair of staffs.",
    CollimationDue "collimation-due" "No test of the instrument within the interval that the class asks for.",
    CollimationEffect "collimation-effect" "A known inclination of the line of sight eats its share of the allowance.",
    PointMoved "point-moved" "A known point disagrees with the others beyond its uncertainty.",
    Misclosure "misclosure" "At a known point, or forward against back at a common point: near or over the allowance.",
    Outlook "outlook" "With the noise seen so far the run will probably not close.",
    Offer "offer" "A foresight falls on a known point: a person must confirm that it is that point.",
    RecordRefused "record-refused" "A record was damaged or unknown.",
    RecordRepeated "record-repeated" "A record was sent twice.",
    InstrumentFault "instrument-fault" "The instrument says that it could not measure.",
    LinkQuiet "link-quiet" "The port is open and silent, or talks without records.",
    LinkLost "link-lost" "The link to the instrument is gone, or does not come about.",
    UnitDoubt "unit-doubt" "The numbers look like feet where metres are set, or the reverse.",
    ClockStepped "clock-stepped" "The clock of this machine jumped.",
    MachineSlept "machine-slept" "This machine slept, and heard nothing meanwhile.",
}

impl fmt::Display for FindingId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

impl FromStr for FindingId {
    type Err = FindingKeyError;
    fn from_str(text: &str) -> Result<Self, FindingKeyError> {
        FindingId::ALL
            .iter()
            .copied()
            .find(|id| id.name() == text)
            .ok_or_else(|| FindingKeyError { found: text.to_owned() })
    }
}

/// Where something was found.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Place {
    /// In the job as a whole.
    Job,
    /// On the link, since this event.
    Event(u64),
    /// At this reading.
    Reading(u32),
    /// At this setup of this run, both counted from 1.
    Setup {
        /// The run.
        run: u32,
        /// The setup within it.
        setup: u32,
    },
    /// In the section of this run that begins with this setup.
    Section {
        /// The run.
        run: u32,
        /// Its first setup.
        from: u32,
    },
    /// In this run as a whole.
    Run(u32),
    /// At this point, as met at this setup of this run.
    Point {
        /// The run.
        run: u32,
        /// The setup within it.
        setup: u32,
        /// The point.
        point: PointName,
    },
}

/// What tells one finding from another: the kind and the place. Written `balance@setup-1.7`.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct FindingKey {
    /// The place.
    pub place: Place,
    /// The kind.
    pub id: FindingId,
}

impl fmt::Display for FindingKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}@", self.id)?;
        match &self.place {
            Place::Job => write!(f, "job"),
            Place::Event(seq) => write!(f, "event-{seq}"),
            Place::Reading(number) => write!(f, "reading-{number}"),
            Place::Setup { run, setup } => write!(f, "setup-{run}.{setup}"),
            Place::Section { run, from } => write!(f, "section-{run}.{from}"),
            Place::Run(run) => write!(f, "run-{run}"),
            Place::Point { run, setup, point } => write!(f, "point-{run}.{setup}-{point}"),
        }
    }
}

impl FromStr for FindingKey {
    type Err = FindingKeyError;

    fn from_str(text: &str) -> Result<Self, FindingKeyError> {
        let refused = || FindingKeyError { found: text.to_owned() };
        let pair = |text: &str| {
            let (run, setup) = text.split_once('.')?;
            Some((run.parse().ok()?, setup.parse().ok()?))
        };
        let (id, place) = text.split_once('@').ok_or_else(refused)?;
        let place = match place.split_once('-') {
            None if place == "job" => Some(Place::Job),
            Some(("event", rest)) => rest.parse().ok().map(Place::Event),
            Some(("reading", rest)) => rest.parse().ok().map(Place::Reading),
            Some(("run", rest)) => rest.parse().ok().map(Place::Run),
            Some(("setup", rest)) => pair(rest).map(|(run, setup)| Place::Setup { run, setup }),
            Some(("section", rest)) => pair(rest).map(|(run, from)| Place::Section { run, from }),
            Some(("point", rest)) => rest.split_once('-').and_then(|(at, name)| {
                let (run, setup) = pair(at)?;
                Some(Place::Point { run, setup, point: PointName::new(name).ok()? })
            }),
            _ => None,
        };
        Ok(FindingKey { id: id.parse()?, place: place.ok_or_else(refused)? })
    }
}

impl Serialize for FindingKey {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for FindingKey {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<'de, str>::deserialize(deserializer)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

/// A text that names no finding.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FindingKeyError {
    /// What was found.
    pub found: String,
}

impl fmt::Display for FindingKeyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?} names no finding, a name such as balance@setup-1.7 was wanted", self.found)
    }
}

impl std::error::Error for FindingKeyError {}

/// One thing found.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Kind and place.
    pub key: FindingKey,
    /// How urgent.
    pub priority: Priority,
    /// What was found, with its limit: a sentence in the job's unit.
    pub fact: String,
    /// What to do now: a sentence.
    pub todo: String,
    /// The value that was compared.
    pub value: Option<Amount>,
    /// What it was compared with.
    pub limit: Option<Amount>,
    /// Where the limit comes from.
    pub basis: Option<String>,
    /// The value is over the limit; not so for a finding that only stays because it left its limit by too little.
    pub over: bool,
}

/// A compared quantity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Amount {
    /// A sight length or a difference of them, shown to a centimetre or a tenth of a foot.
    Sight(Length),
    /// A height or a height difference, shown in mm or thousandths of a foot.
    Height(Length),
    /// A number of things.
    Count(i64),
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_is_written_and_read_back() {
        let point = PointName::new("TP-3 @ core").unwrap();
        for place in [
            Place::Job,
            Place::Event(88),
            Place::Reading(14),
            Place::Setup { run: 1, setup: 7 },
            Place::Section { run: 2, from: 1 },
            Place::Run(3),
            Place::Point { run: 1, setup: 12, point },
        ] {
            let key = FindingKey { id: FindingId::Balance, place };
            assert_eq!(key.to_string().parse(), Ok(key.clone()), "{key}");
        }
    }

    #[test]
    fn a_wrong_key_says_what_would_do() {
        let error = "ballance@setup-1.7".parse::<FindingKey>().unwrap_err();
        assert_eq!(error.to_string(), "\"ballance\" names no finding, a name such as balance@setup-1.7 was wanted");
        assert!("balance@setup-x.7".parse::<FindingKey>().is_err());
    }
}
