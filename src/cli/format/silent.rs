//! What a format cannot deliver, and which checks of the book that leaves silent or weakened.

use serde::{Serialize, Serializer};

use crate::book::finding::FindingId;
use crate::protocol::{Delivers, Means, RecordKind};

/// Something that a format does not deliver.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub(super) struct Lack {
    /// What is missing.
    pub(super) what: &'static str,
    /// The checks that will never say anything.
    #[serde(serialize_with = "names")]
    pub(super) silent: &'static [FindingId],
    /// What becomes of the rest.
    pub(super) so: &'static str,
}

const NO_SIGHT: Lack = Lack {
    what: "no sight lengths",
    silent: &[FindingId::SightLong, FindingId::SightShort, FindingId::Balance, FindingId::BalanceSum],
    so: "allowances go by setups or by noise, not by length",
};
const NO_SPREAD: Lack =
    Lack { what: "no spread", silent: &[], so: "the check spread sees the range of repeated shots only" };
const NO_FAULT: Lack = Lack {
    what: "no record of a fault",
    silent: &[FindingId::InstrumentFault],
    so: "a shot that failed looks like none",
};
const NO_SEQUENCE: Lack = Lack {
    what: "no sequence number",
    silent: &[],
    so: "a lost record is not noticed, and one sent twice is known by its bytes and its time only",
};
const NO_ROLE: Lack = Lack { what: "no role", silent: &[], so: "the observing sequence gives each reading its role" };
const NO_POINT: Lack =
    Lack { what: "no point", silent: &[], so: "points are numbered, and named by whoever books: tell point" };

/// What a format lacks, the worst first.
pub(super) fn lacks(delivers: &Delivers) -> Vec<Lack> {
    [
        (!delivers.has(Means::Sight), NO_SIGHT),
        (!delivers.has_kind(RecordKind::Fault), NO_FAULT),
        (!delivers.has(Means::Spread), NO_SPREAD),
        (!delivers.has(Means::Sequence), NO_SEQUENCE),
        (!delivers.has(Means::Role), NO_ROLE),
        (!delivers.has(Means::Point), NO_POINT),
    ]
    .into_iter()
    .filter_map(|(is_so, lack)| is_so.then_some(lack))
    .collect()
}

impl Lack {
    /// As a sentence.
    pub(super) fn sentence(&self) -> String {
        match self.silent {
            [] => format!("{}: {}", self.what, self.so),
            silent => {
                let names: Vec<&str> = silent.iter().map(|id| id.name()).collect();
                let word = if names.len() == 1 { "this check" } else { "these checks" };
                format!("{}: {word} will be silent: {}; {}", self.what, names.join(", "), self.so)
            }
        }
    }
}

fn names<S: Serializer>(silent: &&[FindingId], serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_seq(silent.iter().map(|id| id.name()))
}
