//! The two-peg test: the inclination of the line of sight from readings on two stable points out of two positions.
//!
//! ```text
//! reading = true + c S + (1 - k) S^2 / (2 R)
//! c       = [ (a2 - b2) - (a1 - b1) ] / [ (Sa2 - Sb2) - (Sa1 - Sb1) ]
//! sd of c = sqrt( sum of s^2 / m over the four sights ) / | bottom bracket |
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | a1, b1, a2, b2 | readings on pegs A and B from positions 1 and 2, each the mean of m shots | 1e-10 m |
//! | Sa1 ... Sb2 | the distances to them | 1e-10 m |
//! | c | inclination of the line of sight | mm/m |
//! | s | standard deviation of one reading | mm |
//! | k, R | refraction and radius, as in `book::corrections`; the term is left out where no k is given | -, m |
//!
//! Sign: c is positive where the line of sight climbs away from the instrument, as in the whole program. The forms of
//! US agencies carry `C = -c`, added times the distance; other sources print a size and a word. A correction to a
//! reading is `- c S`.
//!
//! Every named layout is the general form with its distances put in. Names of layouts, from memory: the 20 m base is
//! known as Kukkamäki's, the thirds with the instrument inside as Förstner's, outside as Näbauer's.
//!
//! Needs: the bottom bracket not nought. Gives: c with its deviation, and what each reading should have been.
//! Source: the midpoint test, teaching slides (slideplayer.com/slide/14841960); general form and deviation derived.
//! Checked against: the `two_peg` files of `fixtures/field`.

use std::fmt;

use super::quantiles::Z_95;
use crate::book::activity::{Judged, PegLayout};
use crate::book::corrections::curvature_and_refraction_m;
use crate::units::{Length, Unit};

/// The readings on one peg out of one position.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sight {
    /// The mean of its shots.
    pub reading: Length,
    /// From the instrument to the peg.
    pub distance: Length,
    /// How many shots were meaned.
    pub shots: u32,
}

/// One position of the instrument.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Position {
    /// On peg A.
    pub a: Sight,
    /// On peg B.
    pub b: Sight,
}

impl Position {
    /// Rise from peg A to peg B as it was read.
    pub fn rise(&self) -> Length {
        self.a.reading - self.b.reading
    }

    fn imbalance(&self) -> Length {
        self.a.distance - self.b.distance
    }
}

/// What is known of the instrument and the air.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Model {
    /// Standard deviation of one reading.
    pub reading_sd: Length,
    /// Coefficient of refraction, to take curvature and refraction out; none leaves them in.
    pub refraction_k: Option<f64>,
}

/// The inclination of a line of sight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Collimation {
    /// Inclination, mm per m; positive where it climbs. This is the value that the correction is turned on with.
    pub mm_per_m: f64,
    /// Its standard deviation.
    pub sd_mm_per_m: f64,
    /// By how much the two rises differ as they were read: second less first.
    pub discrepancy: Length,
    /// The bottom bracket: over how much distance the discrepancy arose.
    pub base: Length,
}

impl Collimation {
    /// What a perfect level would have read: the reading less `c S`, and less curvature and refraction where the model
    /// takes them out.
    pub fn true_reading(&self, sight: Sight, model: &Model) -> Length {
        let distance = sight.distance.to_f64_m();
        let off = self.mm_per_m / 1000.0 * distance + curved(sight, model);
        Length::from_f64_m(off).map_or(sight.reading, |off| sight.reading - off)
    }

    /// How the inclination stands to a limit in mm per m.
    pub fn judged(&self, limit_mm_per_m: f64) -> Judged {
        judged(self.mm_per_m, self.sd_mm_per_m, limit_mm_per_m)
    }
}

/// How a value stands to a limit, given its standard deviation: within or over where 95 % of the doubt is on that side.
pub(super) fn judged(value: f64, sd: f64, limit: f64) -> Judged {
    let doubt = Z_95 * sd;
    match value.abs() {
        size if size + doubt <= limit => Judged::Within,
        size if size - doubt > limit => Judged::Over,
        _ => Judged::Doubtful,
    }
}

/// The inclination of the line of sight.
///
/// # Errors
/// Distances whose bottom bracket is nought: both positions see the pegs alike, and nothing can be told.
pub fn two_peg(first: &Position, second: &Position, model: &Model) -> Result<Collimation, NothingToTell> {
    let base = second.imbalance() - first.imbalance();
    if base == Length::ZERO {
        return Err(NothingToTell);
    }
    let curved = |position: &Position| curved(position.a, model) - curved(position.b, model);
    let discrepancy = second.rise() - first.rise();
    let tilted = discrepancy.to_f64_m() - (curved(second) - curved(first));
    let shots = [first.a, first.b, second.a, second.b].map(|sight| sight.shots);
    Ok(Collimation {
        mm_per_m: 1000.0 * tilted / base.to_f64_m(),
        sd_mm_per_m: sd_mm_per_m(base, shots, model.reading_sd),
        discrepancy,
        base,
    })
}

fn curved(sight: Sight, model: &Model) -> f64 {
    model.refraction_k.map_or(0.0, |k| curvature_and_refraction_m(k, sight.distance.to_f64_m()))
}

fn sd_mm_per_m(base: Length, shots: [u32; 4], reading_sd: Length) -> f64 {
    let variance: f64 = shots.iter().map(|&m| reading_sd.to_f64_mm().powi(2) / f64::from(m.max(1))).sum();
    variance.sqrt() / base.abs().to_f64_m()
}

/// Both positions see the pegs at the same difference of distances.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NothingToTell;

impl fmt::Display for NothingToTell {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "both positions see the pegs at the same difference of distances, so nothing can be told: set the second one up \
             beyond a peg"
        )
    }
}

impl std::error::Error for NothingToTell {}

/// The distances of a named layout: to pegs A and B from position 1, then from position 2.
///
/// `length` is that between the pegs, for the thirds a third of it; `beyond` is how far outside peg B the second
/// position is, and is used by the layout that has one. `nearest` is the shortest sight of the instrument: nearer to a
/// peg it cannot stand.
pub fn distances(layout: PegLayout, length: Length, beyond: Length, nearest: Length) -> [[Length; 2]; 2] {
    let half = length.divide(2);
    match layout {
        PegLayout::MidOutside => [[half, half], [length + beyond, beyond]],
        PegLayout::MidNear => [[half, half], [length - nearest, nearest]],
        PegLayout::Twenty => {
            let metres = |metres: i64| Length::from_mm(metres * 1000);
            [[metres(10), metres(10)], [metres(40), metres(20)]]
        }
        PegLayout::ThirdsInside | PegLayout::ThirdsOutside => [[length, length * 2], [length * 2, length]],
    }
}

/// Where the instrument is to stand, in words, for position 1 or 2.
pub fn where_to_stand(layout: PegLayout, position: usize, distances: &[[Length; 2]; 2], unit: Unit) -> String {
    let [a, b] = distances[position.min(1)].map(|distance| format!("{} {unit}", distance.show(unit, 1)));
    let side = match (layout, position) {
        (PegLayout::MidOutside | PegLayout::MidNear | PegLayout::Twenty, 0) => "midway",
        (PegLayout::MidNear, _) => "between the pegs, close to B",
        (PegLayout::MidOutside | PegLayout::Twenty, _) => "beyond B",
        (PegLayout::ThirdsInside, 0) => "between the pegs, a third from A",
        (PegLayout::ThirdsInside, _) => "between the pegs, a third from B",
        (PegLayout::ThirdsOutside, 0) => "beyond A",
        (PegLayout::ThirdsOutside, _) => "beyond B",
    };
    format!("{side}, {a} from A and {b} from B")
}

/// What a layout can tell, before it is observed.
///
/// # Errors
/// [`TooShort`] where the doubt of the result, at 95 %, would be larger than the limit that it is to be judged by.
pub fn check_layout(
    distances: &[[Length; 2]; 2],
    shots: u32,
    reading_sd: Length,
    limit_mm_per_m: f64,
) -> Result<f64, TooShort> {
    let [[a1, b1], [a2, b2]] = *distances;
    let base = (a2 - b2) - (a1 - b1);
    let single = Z_95 * sd_mm_per_m(base, [1; 4], reading_sd);
    let doubt = single / f64::from(shots.max(1)).sqrt();
    if doubt <= limit_mm_per_m {
        return Ok(doubt);
    }
    let enough_shots = (single / limit_mm_per_m).powi(2).ceil();
    let enough_m = base.abs().to_f64_m() * doubt / limit_mm_per_m;
    Err(TooShort { base: base.abs(), doubt_mm_per_m: doubt, limit_mm_per_m, reading_sd, enough_shots, enough_m })
}

/// A layout too short to tell anything.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TooShort {
    /// The bottom bracket.
    pub base: Length,
    /// The doubt that it would leave, at 95 %, mm per m.
    pub doubt_mm_per_m: f64,
    /// The limit that was to be judged by.
    pub limit_mm_per_m: f64,
    /// Deviation of one reading.
    pub reading_sd: Length,
    /// Shots a sight that would do.
    pub enough_shots: f64,
    /// Base that would do, m.
    pub enough_m: f64,
}

/// More shots a sight than this are not asked of anybody.
const SHOTS_ASKED_MAX: f64 = 10.0;

impl fmt::Display for TooShort {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let base = self.base.show(Unit::Metre, 2);
        if self.base == Length::ZERO {
            return NothingToTell.fmt(f);
        }
        write!(
            f,
            "the layout is too short: {base} m of distance to tell by, at {} mm a reading, leaves the inclination in doubt by \
             {:.3} mm/m, and the limit is {:.3} mm/m; use {} m",
            self.reading_sd.show(Unit::Millimetre, 2),
            self.doubt_mm_per_m,
            self.limit_mm_per_m,
            self.enough_m.ceil(),
        )?;
        if self.enough_shots <= SHOTS_ASKED_MAX {
            write!(f, ", or {} shots on each peg", self.enough_shots)?;
        }
        Ok(())
    }
}

impl std::error::Error for TooShort {}

#[cfg(test)]
mod tests {
    use super::*;

    const MODEL: Model = Model { reading_sd: Length::from_um(100), refraction_k: None };

    fn m(metres: i64) -> Length {
        Length::from_mm(metres * 1000)
    }

    fn sight(um: i64, metres: i64) -> Sight {
        Sight { reading: Length::from_um(um), distance: m(metres), shots: 1 }
    }

    /// Readings of a line of sight that climbs by so much, on pegs whose true rise is 0.25 m.
    fn planted(mm_per_m: i64, distances: [[Length; 2]; 2]) -> (Position, Position) {
        let read = |truth: Length, distance: Length| Sight {
            reading: truth + distance.share(mm_per_m, 1000),
            distance,
            shots: 1,
        };
        let at = |height_um: i64, [a, b]: [Length; 2]| Position {
            a: read(Length::from_um(height_um), a),
            b: read(Length::from_um(height_um - 250_000), b),
        };
        (at(1_512_340, distances[0]), at(1_498_760, distances[1]))
    }

    #[test]
    fn every_layout_finds_the_inclination_that_was_planted() {
        for layout in PegLayout::ALL {
            let distances = distances(layout, m(30), m(12), m(2));
            for planted_mm in [-3, 0, 1, 7] {
                let (first, second) = planted(planted_mm, distances);
                let found = two_peg(&first, &second, &MODEL).unwrap();
                assert!((found.mm_per_m - planted_mm as f64).abs() < 1e-9, "{layout:?}: {found:?}");
                let rise = found.true_reading(second.a, &MODEL) - found.true_reading(second.b, &MODEL);
                assert!((rise - Length::from_mm(250)).abs() < Length::from_um(1), "{layout:?}: {rise:?}");
            }
        }
    }

    #[test]
    fn the_bottom_bracket_of_each_layout_is_the_stated_one() {
        let base = |layout| {
            let [[a1, b1], [a2, b2]] = distances(layout, m(30), m(12), m(0));
            (a2 - b2) - (a1 - b1)
        };
        for (layout, wanted) in [
            (PegLayout::MidOutside, 30),
            (PegLayout::MidNear, 30),
            (PegLayout::Twenty, 20),
            (PegLayout::ThirdsInside, 60),
            (PegLayout::ThirdsOutside, 60),
        ] {
            assert_eq!(base(layout), m(wanted), "{layout:?}");
        }
    }

    #[test]
    fn curvature_left_in_the_thirds_is_the_stated_bias() {
        // + 3 (1 - k) d / (2 R): 0.003 mm/m at d = 15 m.
        let distances = distances(PegLayout::ThirdsInside, m(15), m(0), m(0));
        let (mut first, mut second) = planted(0, distances);
        for sight in [&mut first.a, &mut first.b, &mut second.a, &mut second.b] {
            let curved = curvature_and_refraction_m(0.14, sight.distance.to_f64_m());
            sight.reading += Length::from_f64_m(curved).unwrap();
        }
        let left_in = two_peg(&first, &second, &MODEL).unwrap().mm_per_m;
        assert!((left_in - 0.003).abs() < 0.0005, "{left_in}");
        let taken_out = two_peg(&first, &second, &Model { refraction_k: Some(0.14), ..MODEL }).unwrap().mm_per_m;
        assert!(taken_out.abs() < 1e-6, "{taken_out}");
    }

    #[test]
    fn the_deviation_is_that_of_four_readings_over_the_base() {
        let (first, second) = planted(0, distances(PegLayout::MidOutside, m(30), m(10), m(0)));
        let found = two_peg(&first, &second, &MODEL).unwrap();
        // 0.1 mm readings on 30 m: about 0.007 mm/m.
        assert!((found.sd_mm_per_m - 0.2 / 30.0).abs() < 1e-12);
        let meaned = |mut position: Position| {
            (position.a.shots, position.b.shots) = (4, 4);
            position
        };
        let four = two_peg(&meaned(first), &meaned(second), &MODEL).unwrap();
        assert!((four.sd_mm_per_m - found.sd_mm_per_m / 2.0).abs() < 1e-12);
    }

    #[test]
    fn a_verdict_leaves_room_for_its_doubt() {
        let of = |mm_per_m: f64| {
            Collimation { mm_per_m, sd_mm_per_m: 0.01, discrepancy: Length::ZERO, base: m(30) }.judged(0.05)
        };
        assert_eq!([of(0.030), of(-0.030), of(0.031)], [Judged::Within, Judged::Within, Judged::Doubtful]);
        assert_eq!([of(-0.069), of(0.070)], [Judged::Doubtful, Judged::Over]);
    }

    #[test]
    fn a_layout_that_cannot_tell_is_refused_and_says_what_would_do() {
        let layout = distances(PegLayout::MidOutside, m(10), m(5), m(0));
        let sd = Length::from_um(300);
        assert_eq!(
            check_layout(&layout, 1, sd, 0.05).unwrap_err().to_string(),
            "the layout is too short: 10.00 m of distance to tell by, at 0.30 mm a reading, leaves the inclination in doubt by \
             0.118 mm/m, and the limit is 0.050 mm/m; use 24 m, or 6 shots on each peg"
        );
        assert!(check_layout(&layout, 6, sd, 0.05).is_ok());
        let longer = distances(PegLayout::MidOutside, m(24), m(5), m(0));
        assert!(check_layout(&longer, 1, sd, 0.05).is_ok());
        let none = [[m(10), m(10)], [m(20), m(20)]];
        assert_eq!(check_layout(&none, 1, sd, 0.05).unwrap_err().to_string(), NothingToTell.to_string());
        let same = Position { a: sight(1_500_000, 20), b: sight(1_250_000, 10) };
        assert_eq!(two_peg(&same, &same, &MODEL), Err(NothingToTell));
    }
}
