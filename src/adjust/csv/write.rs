//! Writing a network, with as few digits as are exact.

use super::COLUMNS;
use crate::adjust::given::{Given, Hold, KnownMark};
use crate::formula::guarded;
use crate::units::{Length, Unit};

/// Writes a network, in `unit` where that is exact, else in metres; [`read`] gives the same network again.
pub fn write(given: &Given, unit: Unit) -> String {
    let mut rows = vec![COLUMNS.map(str::to_owned)];
    for KnownMark { mark, elevation, hold } in &given.known {
        let deviation = match hold {
            Hold::Fixed => None,
            Hold::Weighted(deviation) => Some(*deviation),
        };
        rows.push(row("known", [mark.as_str(), ""], unit, [Some(*elevation), deviation, None], None));
    }
    for (kind, sections) in [("rise", &given.sections), ("aside", &given.set_aside)] {
        for section in sections {
            let lengths = [Some(section.rise), section.deviation, section.length];
            rows.push(row(kind, [section.from.as_str(), section.to.as_str()], unit, lengths, section.setups));
        }
    }
    for [one, other] in &given.same {
        rows.push(row("same", [one.as_str(), other.as_str()], unit, [None; 3], None));
    }
    let mut writer = ::csv::Writer::from_writer(Vec::new());
    for row in rows {
        writer.write_record(row).expect("memory takes every row, and each has as many fields as the header");
    }
    String::from_utf8(writer.into_inner().expect("memory can be flushed")).expect("every field was text")
}

/// One row: height, deviation and length in `unit` if all of them can be written in it exactly.
fn row(kind: &str, names: [&str; 2], unit: Unit, lengths: [Option<Length>; 3], setups: Option<u32>) -> [String; 8] {
    let written = |unit| {
        let mut texts = [const { String::new() }; 3];
        for (text, length) in texts.iter_mut().zip(lengths) {
            if let Some(length) = length {
                *text = shortest(length, unit)?;
            }
        }
        Some((unit, texts))
    };
    let (unit, [height, deviation, length]) =
        written(unit).or_else(|| written(Unit::Metre)).expect("every length is a whole number of 1e-10 m");
    let unit = if lengths == [None; 3] { "" } else { unit.symbol() };
    let [from, to] = names.map(guarded);
    [
        kind.to_owned(),
        from,
        to,
        height,
        unit.to_owned(),
        deviation,
        length,
        setups.map(|n| n.to_string()).unwrap_or_default(),
    ]
}

/// The fewest digits that read back as the same length.
fn shortest(length: Length, unit: Unit) -> Option<String> {
    // Ten decimals of a metre are all there are, and ten of a foot are finer.
    (0..=10).map(|decimals| length.show(unit, decimals)).find(|text| Length::parse(text, unit) == Ok(length))
}
