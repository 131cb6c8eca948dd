//! A plain network as comma-separated values (RFC 4180), read and written; exact, digits to digits, no float.
//!
//! ```text
//! kind,from,to,height,unit,deviation,length,setups
//! known,BM 1,,101.345,m,,,
//! known,BM 2,,104.2350,m,0.002,,
//! rise,BM 1,A,-0.749,m,,1100,18
//! aside,A,BM 2,3.71,m,,800,
//! same,BM 1,CP 1,,,,,
//! extra,A,BM 2,,m,,800,
//! ```
//!
//! | column | in which rows | meaning |
//! |---|---|---|
//! | `kind` | all | `known`: an elevation; `rise`: an observed section; `aside`: one that was taken out, kept for the record; `same`: two names of one mark; `extra`: in a plan, a run that could be added |
//! | `from` | all | the mark; where a section starts |
//! | `to` | all but `known` | where a section ends; the other name |
//! | `height` | `known`, `rise`, `aside` | elevation, or how much higher `to` was found than `from`; may be empty in a plan |
//! | `unit` | all with a length | of every length in the row: `m`, `mm`, `ft`, `sft` |
//! | `deviation` | any but `same`, may be empty | standard deviation; a known mark without one is fixed |
//! | `length` | sections, may be empty | how far it was levelled, in `unit` |
//! | `setups` | sections, may be empty | in how many setups |
//!
//! The first line names the columns, in any order; `deviation`, `length` and `setups` may be left out. A byte-order mark
//! is skipped. A name that a spreadsheet would take for a formula (`=`, `+`, `-`, `@` first) is written behind an
//! apostrophe, which is taken off in reading. The format is this project's own.

mod error;
mod read;
mod write;

pub use error::{CsvError, Problem};
pub use read::{Intended, read, read_plan};
pub use write::write;

/// The columns, in the order in which they are written.
pub const COLUMNS: [&str; 8] = ["kind", "from", "to", "height", "unit", "deviation", "length", "setups"];

/// A column, by its place in [`COLUMNS`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Column {
    /// `kind`.
    Kind,
    /// `from`.
    From,
    /// `to`.
    To,
    /// `height`.
    Height,
    /// `unit`.
    Unit,
    /// `deviation`.
    Deviation,
    /// `length`.
    Length,
    /// `setups`.
    Setups,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::adjust::given::{Given, Hold};
    use crate::book::reading::PointName;
    use crate::units::{Length, Unit};

    const EXAMPLE: &str = "\
kind,from,to,height,unit,deviation,length,setups
known,BM 1,,101.345,m,,,
known,BM 2,,340.5,ft,0.006,,
rise,BM 1,A,-0.7490000001,m,,1100,18
rise,A,BM 2,3.70,m,0.0011,,
aside,\"A, east\",BM 2,3.71,m,,800,
same,BM 1,'-CP 1,,,,,
";

    fn error(text: &str) -> String {
        read(text.as_bytes()).unwrap_err().to_string()
    }

    #[test]
    fn what_is_written_reads_back_the_same() {
        let given = read(EXAMPLE.as_bytes()).unwrap();
        assert_eq!(given.known[1].hold, Hold::Weighted(Length::parse("0.006", Unit::Foot).unwrap()));
        assert_eq!(given.same[0][1].as_str(), "-CP 1");
        assert_eq!(given.set_aside[0].from.as_str(), "A, east");
        for unit in Unit::ALL {
            assert_eq!(read(write(&given, unit).as_bytes()), Ok(given.clone()), "{unit}");
        }
        let shown = write(&given, Unit::Metre);
        assert!(shown.contains("\nknown,BM 2,,103.7844,m,0.0018288,,\n"), "feet are whole in metres: {shown}");
        assert!(write(&given, Unit::Foot).contains("\nrise,BM 1,A,-0.7490000001,m,,1100,18\n"), "a metre stays one");
    }

    #[test]
    fn names_like_formulas_are_guarded_and_come_back() {
        for name in ["=1+1", "-5", "@x", "+A", "'=x", "''-", "'quoted'", "O'Brien", "A\"b"] {
            let point = PointName::new(name).unwrap();
            let given = Given { same: vec![[point.clone(), point]], ..Given::default() };
            let text = write(&given, Unit::Metre);
            assert_eq!(read(text.as_bytes()), Ok(given), "{text}");
            assert!(
                !text.contains(",=") && !text.contains(",-") && !text.contains(",+") && !text.contains(",@"),
                "{text}"
            );
        }
    }

    #[test]
    fn columns_stand_in_any_order_and_three_may_be_missing() {
        let text = "\u{feff}unit,height,to,from,kind\r\nm,1.5,B,A,rise\r\nm,10,,A,known\r\n";
        let given = read(text.as_bytes()).unwrap();
        assert_eq!((given.sections[0].rise, given.sections[0].length), (Length::from_mm(1500), None));
        assert_eq!(given.known[0].hold, Hold::Fixed);
    }

    #[test]
    fn a_plan_needs_no_heights_and_may_hold_extra_runs() {
        let text = "kind,from,to,height,unit,length\nknown,A,,,,\nrise,A,B,,m,500\nextra,B,A,,m,700\n";
        let plan = read_plan(text.as_bytes()).unwrap();
        assert_eq!((plan.given.sections[0].rise, plan.extra[0].length), (Length::ZERO, Some(Length::from_mm(700_000))));
        assert_eq!(error(text), "line 2, column height: nothing found, an elevation or an observed rise was wanted");
    }

    #[test]
    fn refusals_say_where_what_was_found_and_what_was_wanted() {
        let head = "kind,from,to,height,unit,setups\n";
        for (text, wanted) in [
            ("", "line 1: no column kind found, the columns are kind,from,to,height,unit,deviation,length,setups"),
            (
                "kind;from\n",
                "line 1: column \"kind;from\" found, the columns are kind,from,to,height,unit,deviation,length,setups, with \
                 commas between",
            ),
            ("kind,kind\n", "line 1: column kind found twice, once was wanted"),
        ] {
            assert_eq!(error(text), wanted);
        }
        for (row, wanted) in [
            ("rose,A,B,1,m", "line 2, column kind: \"rose\" found, one of known, rise, aside, same was wanted"),
            ("rise,,B,1,m", "line 2, column from: an empty point name found, a name such as BM-1 was wanted"),
            (
                "rise,A,B,1e3,m",
                "line 2, column height: 'e' found inside a number, a digit or one decimal point was wanted",
            ),
            (
                "rise,A,B,inf,m",
                "line 2, column height: 'i' found inside a number, a digit or one decimal point was wanted",
            ),
            ("rise,A,B,1", "line 2, column unit: unknown unit \"\", one of m, mm, ft, sft was wanted"),
            ("rise,A,B,1,yd", "line 2, column unit: unknown unit \"yd\", one of m, mm, ft, sft was wanted"),
            ("rise,A,B,1,m,-3", "line 2, column setups: \"-3\" found, a whole number of setups was wanted"),
        ] {
            assert_eq!(error(&format!("{head}{row}\n")), wanted);
        }
        assert!(error(&format!("{head}rise,A,B,1,m,3,4\n")).starts_with("line 2: 7 fields found, 6 were wanted"));
        assert_eq!(
            read(b"kind,from,to,height,unit\nrise,A\xff,B,1,m\n").unwrap_err().to_string(),
            "line 2: the bytes are not UTF-8 text"
        );
    }
}
