//! What a format can tell the book, and so which checks it will leave silent.

use crate::protocol::format::file::{Means, RecordKind};
use crate::protocol::grammar::{Code, Grammar};

/// What a format can tell the book.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Delivers {
    reading: Vec<Means>,
    status: Vec<Means>,
    kinds: Vec<RecordKind>,
    protected: bool,
    zone: Option<String>,
}

impl Delivers {
    pub(in crate::protocol) fn of(grammar: &Grammar) -> Self {
        let mut delivers = Delivers {
            reading: Vec::new(),
            status: Vec::new(),
            kinds: Vec::new(),
            protected: !grammar.checks.is_empty(),
            zone: None,
        };
        for rule in &grammar.records {
            if !delivers.kinds.contains(&rule.kind) {
                delivers.kinds.push(rule.kind);
            }
            let list = match rule.kind {
                RecordKind::Reading => &mut delivers.reading,
                RecordKind::Status => &mut delivers.status,
                RecordKind::Fault | RecordKind::Echo | RecordKind::Ignored => continue,
            };
            delivers.zone = delivers.zone.or(rule.slot(Means::Time).and_then(|slot| match &rule.fields[slot].code {
                Code::Time(time) => Some(time.zone.to_string()),
                _ => None,
            }));
            list.extend(rule.fields.iter().filter_map(|field| field.means));
        }
        for list in [&mut delivers.reading, &mut delivers.status] {
            list.sort_unstable();
            list.dedup();
        }
        delivers
    }

    /// Whether a reading can carry that.
    pub fn has(&self, means: Means) -> bool {
        self.reading.contains(&means)
    }

    /// Everything that a reading can carry.
    pub fn reading(&self) -> &[Means] {
        &self.reading
    }

    /// Everything that a status can carry.
    pub fn status(&self) -> &[Means] {
        &self.status
    }

    /// Whether records of that kind exist.
    pub fn has_kind(&self, kind: RecordKind) -> bool {
        self.kinds.contains(&kind)
    }

    /// The zone of the times: `UTC`, `local`, or a difference to UTC.
    pub fn time_zone(&self) -> Option<&str> {
        self.zone.as_deref()
    }

    /// Whether a check stands over each record, so that a changed digit is noticed.
    pub fn is_protected(&self) -> bool {
        self.protected
    }
}
