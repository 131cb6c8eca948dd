//! An invented building and what a crew does in it: elevations, setups, and where it goes wrong.
//!
//! A benchmark stands in the yard. The run goes in, up the stairs of the core to the second floor, where two marks were
//! set 5.000 ft above the finished floor, and back down by other turning points to the benchmark.

use crate::book::reading::PointName;
use crate::simulate::scene::{Level, Setup, Sight, Staff};
use crate::units::{Length, Unit};

/// The benchmark, with the elevation that somebody else gave it.
const BENCHMARK: (&str, i64) = ("BM-1", 52_348);
/// Height of the marks above the finished floor: 5.000 ft, 1.524 m.
const ABOVE_FLOOR: Length = Length::from_um(1_524_000);

/// One thing that the crew does.
#[derive(Clone, Debug)]
pub(super) enum Act {
    /// Shoots the back staff of this setup.
    Back(usize),
    /// Shoots the fore staff.
    Fore(usize),
    /// Shoots the fore staff at this sight length, in mm, instead of the right one.
    ForeAt(usize, i64),
    /// Shoots a mark, after saying which.
    Mark(usize, usize),
    /// Shoots the fore staff, and the record is damaged on the way.
    Damaged(usize),
    /// Says something.
    Say(&'static str),
}

/// The building.
pub(super) struct Building {
    setups: Vec<Setup>,
    unit: Unit,
}

/// Point reached, its elevation, the line of sight above the back point, and the sights to both, in mm.
const WAY: &[(&str, i64, i64, i64, i64)] = &[
    ("TP1", 53_104, 1_902, 31_200, 31_600),
    ("TP2", 53_420, 1_734, 18_400, 18_100),
    ("TP3", 55_236, 3_218, 8_600, 8_900),
    ("TP4", 56_981, 3_104, 8_400, 8_200),
    ("TP5", 58_790, 3_150, 8_700, 9_000),
    ("TP6", 60_618, 3_190, 8_300, 8_100),
    ("TP7", 60_604, 1_466, 22_700, 22_300),
    ("TP8", 58_742, 845, 8_900, 9_100),
    ("TP9", 56_969, 902, 8_500, 8_300),
    ("TP10", 55_148, 871, 8_600, 8_500),
    ("TP11", 53_398, 930, 8_200, 8_400),
    (BENCHMARK.0, BENCHMARK.1, 611, 27_300, 26_800),
];

/// Finished floor of the second floor, in mm, and the marks 5.000 ft above it: name, sight length in mm.
const FLOOR: i64 = 60_600;
const MARKS: &[(&str, i64)] = &[("5FT-N", 14_200), ("5FT-S", 17_900)];
/// The setup from which the marks are shot, counted from 0.
const MARKS_FROM: usize = 6;
/// A turning point that gives way while the instrument is moved: which setup stands on it then, and by how much.
const SINKS: (usize, Length) = (9, Length::from_um(1_900));

/// What the crew does, mistakes included. Setups count from 0.
const DAY: &[Act] = &[
    Act::Back(0),
    // The first forward staff is put too far out.
    Act::ForeAt(0, 43_400),
    Act::Say("strike"),
    Act::Fore(0),
    Act::Back(1),
    Act::Fore(1),
    Act::Back(2),
    // On the stairs the forward staff goes a flight too far.
    Act::ForeAt(2, 12_800),
    Act::Say("strike"),
    Act::Fore(2),
    Act::Back(3),
    // A spark in the cable.
    Act::Damaged(3),
    Act::Fore(3),
    Act::Back(4),
    // A second shot on the staff just read: a habit of the operator.
    Act::Back(4),
    Act::Say("repeat"),
    Act::Fore(4),
    Act::Back(5),
    Act::Fore(5),
    Act::Back(6),
    Act::Mark(6, 0),
    Act::Mark(6, 1),
    Act::Fore(6),
    Act::Say("note two marks shot on the second floor"),
    Act::Back(7),
    Act::Fore(7),
    Act::Back(8),
    Act::Fore(8),
    Act::Back(9),
    Act::Fore(9),
    Act::Back(10),
    Act::Fore(10),
    Act::Back(11),
    Act::Fore(11),
    // The last foresight falls on the benchmark; the crew says that it is.
    Act::Say("take"),
    Act::Say("end"),
];

impl Building {
    /// For a crew that works in this unit.
    pub(super) fn new(unit: Unit) -> Self {
        let name = |text: &str| PointName::new(text).expect("a visible name");
        let sight = |point: &str, elevation: i64, distance: i64| Sight {
            point: name(point),
            elevation: Length::from_mm(elevation),
            distance: Length::from_mm(distance),
            staff: Staff::A,
        };
        let mut setups: Vec<Setup> = Vec::new();
        let mut from = BENCHMARK;
        for &(to, elevation, above, back, fore) in WAY {
            let setup = Setup::new(Length::from_mm(above), sight(from.0, from.1, back), sight(to, elevation, fore));
            setups.push(setup);
            from = (to, elevation);
        }
        for &(mark, distance) in MARKS {
            let mut side = sight(mark, FLOOR, distance);
            side.elevation += ABOVE_FLOOR;
            setups[MARKS_FROM].sides.push(side);
        }
        // Its line must pass above the marks: the instrument stands higher there.
        let high = setups[MARKS_FROM].back.elevation + Length::from_mm(1_466) + Length::from_mm(700);
        setups[MARKS_FROM].line = high;
        setups[SINKS.0].back_sank = SINKS.1;
        Building { setups, unit }
    }

    /// The setups.
    pub(super) fn setups(&self) -> &[Setup] {
        &self.setups
    }

    /// What the crew does.
    pub(super) fn day(&self) -> &'static [Act] {
        DAY
    }

    /// The benchmark's name.
    pub(super) fn benchmark(&self) -> &'static str {
        BENCHMARK.0
    }

    /// The benchmark as it is given to `listen`.
    pub(super) fn known(&self) -> String {
        format!("{}={}", BENCHMARK.0, Length::from_mm(BENCHMARK.1).show(self.unit, 4))
    }

    /// The level. It sends metres, as the shipped formats do.
    pub(super) fn level(&self) -> Level {
        Level::metric()
    }
}
