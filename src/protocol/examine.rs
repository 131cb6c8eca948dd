//! What can be said of a good format without an instrument: whether its examples come out and go back, which of its
//! records could be taken for each other, and how much a frame can cost.

use super::checksum::Sum;
use super::format::file::RecordKind;
use super::grammar::{self, Rule, Test, Wanted};
use super::limits::{STEPS_FREE, STEPS_PER_BYTE};
use super::{ExampleFailure, Format};

/// What can be said of a good format.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Examination {
    /// Examples that do not come out as the file says.
    pub failures: Vec<ExampleFailure>,
    /// Examples that cannot be written again from what they say.
    pub one_way: Vec<ExampleFailure>,
    /// Kinds of record of which no example stands in the file.
    pub without_example: Vec<String>,
    /// Records that some frame could be taken for alike.
    pub alike: Vec<Alike>,
    /// Changes that the checks do not notice.
    pub unnoticed: Vec<String>,
    /// What a frame can cost.
    pub bounds: Bounds,
}

/// Two kinds of record that nothing in the file keeps apart.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Alike {
    /// The one that stands first and is taken.
    pub taken: String,
    /// The other.
    pub other: String,
    /// Whether the order in the file says which is meant.
    pub order: Told,
}

/// Whether the order in the file says which record is meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Told {
    /// The first is the more particular: the other takes what it leaves.
    ByOrder,
    /// Each has a fixed part that the other has not: a frame with both is taken for the first.
    NotAtAll,
}

/// What a frame can cost.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bounds {
    /// The longest frame in bytes.
    pub frame: usize,
    /// The most steps that the longest frame can take.
    pub steps: u64,
}

impl Format {
    /// What can be said of the format without an instrument.
    pub fn examine(&self) -> Examination {
        let records = &self.grammar.records;
        let mut alike = Vec::new();
        for (place, other) in records.iter().enumerate() {
            alike.extend(records[..place].iter().filter_map(|taken| self::alike(taken, other)));
        }
        let shown = |rule: &&Rule| {
            self.examples()
                .iter()
                .any(|example| matches!(&example.wanted, Wanted::Record { name, .. } if **name == *rule.name))
        };
        let max = self.grammar.framer.max;
        Examination {
            failures: self.run_examples(),
            one_way: self.one_way(),
            without_example: records.iter().filter(|rule| !shown(rule)).map(|rule| rule.name.to_string()).collect(),
            alike,
            unnoticed: self.unnoticed(),
            bounds: Bounds { frame: max, steps: STEPS_FREE + STEPS_PER_BYTE * max as u64 },
        }
    }

    /// Examples whose record cannot be written, or would not read back.
    fn one_way(&self) -> Vec<ExampleFailure> {
        let failure = |(place, example): (usize, &grammar::Example)| {
            let Wanted::Record { name, .. } = &example.wanted else { return None };
            let rule = self.grammar.records.iter().find(|rule| *rule.name == **name)?;
            if matches!(rule.kind, RecordKind::Ignored | RecordKind::Echo) {
                return None;
            }
            // What does not even come out is told elsewhere.
            let record = self.read(&example.bytes).ok()?;
            let reason = self.write(&record).err()?.to_string();
            Some(ExampleFailure::new(self, place, example, reason))
        };
        self.examples().iter().enumerate().filter_map(failure).collect()
    }

    fn unnoticed(&self) -> Vec<String> {
        let checks = &self.grammar.checks;
        let mut unnoticed = Vec::new();
        if checks.is_empty() {
            unnoticed.push("any change of one digit into another: no check stands over a record".to_owned());
        } else if checks.iter().all(|check| matches!(check.sum, Sum::Xor { .. })) {
            unnoticed
                .push("two changes of the same bit, where both bytes still fit their fields: they cancel".to_owned());
        } else if checks.iter().all(|check| matches!(check.sum, Sum::Plain { .. } | Sum::Xor { .. })) {
            unnoticed.push("two digits that change places: their sum stays".to_owned());
        }
        unnoticed
    }
}

fn alike(taken: &Rule, other: &Rule) -> Option<Alike> {
    let apart = taken.tests.iter().any(|a| other.tests.iter().any(|b| exclude(a, b)));
    if apart {
        return None;
    }
    let order = if other.tests.iter().all(|test| grammar::implied(test, &taken.tests)) {
        Told::ByOrder
    } else {
        Told::NotAtAll
    };
    Some(Alike { taken: taken.name.to_string(), other: other.name.to_string(), order })
}

/// Whether no frame can pass both.
fn exclude(a: &Test, b: &Test) -> bool {
    match (a, b) {
        (Test::At { offset: at, any_of: these }, Test::At { offset: there, any_of: those }) => {
            these.iter().all(|a| those.iter().all(|b| differ(*at, a, *there, b)))
        }
        (
            Test::Item { behind: a, separator: c, repeats: e, index: g, any_of: these },
            Test::Item { behind: b, separator: d, repeats: f, index: h, any_of: those },
        ) => (a, c, e, g) == (b, d, f, h) && none_in_both(these, those),
        (
            Test::Key { behind: a, separator: c, joins: e, key: g, any_of: these },
            Test::Key { behind: b, separator: d, joins: f, key: h, any_of: those },
        ) => (a, c, e, g) == (b, d, f, h) && none_in_both(these, those),
        (Test::Pointer { path: a, any_of: these }, Test::Pointer { path: b, any_of: those }) => {
            a == b && none_in_both(these, those)
        }
        (
            Test::Bits { offset: a, bytes: c, order: e, bit: g, bits: i, any_of: these },
            Test::Bits { offset: b, bytes: d, order: f, bit: h, bits: j, any_of: those },
        ) => (a, c, e, g, i) == (b, d, f, h, j) && none_in_both(these, those),
        _ => false,
    }
}

fn none_in_both<T: PartialEq>(these: &[T], those: &[T]) -> bool {
    these.iter().all(|this| !those.contains(this))
}

/// Whether two literals want different bytes in the same place.
fn differ(at: usize, a: &[u8], there: usize, b: &[u8]) -> bool {
    let from = at.max(there);
    let to = (at + a.len()).min(there + b.len());
    (from..to).any(|place| a[place - at] != b[place - there])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::protocol::{find, shipped};

    #[test]
    fn the_shipped_formats_go_both_ways_and_show_every_record() {
        for (name, _) in shipped() {
            let examination = find(name).unwrap().examine();
            assert_eq!(examination.failures, [], "{name}");
            assert_eq!(examination.one_way, [], "{name}");
            assert_eq!(examination.without_example, [""; 0], "{name}");
            assert!(
                examination.alike.iter().all(|alike| alike.order == Told::ByOrder),
                "{name}: {:?}",
                examination.alike
            );
        }
    }

    #[test]
    fn records_that_a_frame_could_be_both_of_are_named() {
        let record = |name: &str, fields: &str| {
            format!(
                "[[record]]\nname = \"{name}\"\nkind = \"reading\"\nlayout = \"separated\"\nseparator = \",\"\nfields = [{fields}]\n"
            )
        };
        let staff = "{ is = \"decimal\", means = \"staff\", unit = \"m\" }";
        let text = format!(
            "format = 1\nname = \"x\"\ntitle = \"x\"\n[frame]\nkind = \"line\"\nend = \"\\n\"\n{}{}{}",
            record("first", &format!("{{ is = \"literal\", literal = \"A\" }}, {staff}")),
            record("second", &format!("{staff}, {{ is = \"literal\", literal = \"B\" }}")),
            record("third", staff),
        );
        let alike = Format::parse(&text).unwrap().examine().alike;
        let told = |taken: &str, other: &str| {
            alike.iter().find(|alike| alike.taken == taken && alike.other == other).map(|alike| alike.order)
        };
        assert_eq!(told("first", "second"), Some(Told::NotAtAll));
        assert_eq!(told("first", "third"), Some(Told::ByOrder));
        assert_eq!(told("second", "third"), Some(Told::ByOrder));
    }

    #[test]
    fn what_a_check_does_not_notice_is_said() {
        assert!(find("comma").unwrap().examine().unnoticed[0].contains("no check"));
        assert!(find("packet").unwrap().examine().unnoticed.is_empty());
        assert!(find("sentence").unwrap().examine().unnoticed.is_empty());
        assert!(find("telegram").unwrap().examine().unnoticed[0].contains("change places"));
    }
}
