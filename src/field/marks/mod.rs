//! Known marks: whether two of them agree before they are used, and which have settled between two epochs.
//!
//! ```text
//! two marks      t = (observed rise - known rise) / sqrt( sA^2 + sB^2 + so^2 )
//! two epochs     t = (E2 - E1) / sqrt( s1^2 + s2^2 )
//! |t| <= 1.96 agrees (95 %)    <= 3.29 doubtful (99.9 %)    beyond: moved
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | sA, sB | uncertainties of the two marks, each a standard deviation | m |
//! | so | that of the observed rise | m |
//! | E1, E2, s1, s2 | elevations of one mark at two epochs, and their uncertainties | m |
//!
//! Sign: positive where the second mark is higher than its elevation says, or where a mark has risen.
//! A mark without a stated uncertainty is taken as exact, and that is said.
//! One disagreement between two marks cannot tell which of them moved: a third is wanted.
//! Source: test of a difference against its standard deviation, standard textbooks, from memory.

pub mod register;

use super::quantiles::{Z_95, Z_999, two_sided};
use crate::book::Book;
use crate::book::activity::Agreement;
use crate::book::marks::Mark;
use crate::book::reading::PointName;
use crate::units::{Length, Unit};

/// A mark of the job with what its register says of it; none without a known elevation.
pub fn registered(book: &Book, name: &PointName) -> Option<Mark> {
    let of_register = book.amendments().marks().get(name).and_then(|history| history.last());
    // A later word on the elevation wins over the register, and says nothing of how well it is known.
    let known = book.known().get(name)?;
    match of_register {
        Some(mark) if mark.elevation == known.elevation => Some(mark.clone()),
        _ => Some(Mark::from(known)),
    }
}

/// A difference that was tested.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tested {
    /// The difference.
    pub difference: Length,
    /// Its standard deviation, m.
    pub sd_m: f64,
    /// The difference in standard deviations.
    pub t: f64,
    /// What that says.
    pub agreement: Agreement,
}

impl Tested {
    /// Tests a difference. Without any deviation only nought agrees.
    pub fn of(difference: Length, sd_m: f64) -> Self {
        let t = match (difference.to_f64_m(), sd_m) {
            (0.0, _) => 0.0,
            (off, 0.0) => f64::INFINITY.copysign(off),
            (off, sd) => off / sd,
        };
        let agreement = match t.abs() {
            size if size <= Z_95 => Agreement::Agrees,
            size if size <= Z_999 => Agreement::Doubtful,
            _ => Agreement::Moved,
        };
        Tested { difference, sd_m, t, agreement }
    }

    /// The test in words: the difference, what chance allows, and how likely more is by chance.
    pub fn words(&self, unit: Unit) -> String {
        let (unit, decimals) = if unit.is_foot() { (unit, 4) } else { (Unit::Millimetre, 1) };
        let allowed = Length::from_f64_m(Z_95 * self.sd_m).unwrap_or(Length::ZERO);
        format!(
            "{} {unit} off, {} {unit} are within chance at 95 % (p {:.3})",
            self.difference.show_signed(unit, decimals),
            allowed.show(unit, decimals),
            two_sided(self.t)
        )
    }
}

/// Tests an observed rise from one mark to another against their elevations.
pub fn agree(from: &Mark, to: &Mark, observed: Length, observed_sd: Length) -> Tested {
    let known = to.elevation.value() - from.elevation.value();
    let variance: f64 = [from.sd, to.sd, Some(observed_sd)].into_iter().flatten().map(|sd| sd.to_f64_m().powi(2)).sum();
    Tested::of(observed - known, variance.sqrt())
}

/// One mark at two epochs.
#[derive(Clone, Debug, PartialEq)]
pub struct Settled {
    /// The mark.
    pub name: PointName,
    /// How it changed, up positive, and what that says.
    pub tested: Tested,
}

/// What two epochs come to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Epochs {
    /// The marks of both, in the order of the first.
    pub both: Vec<Settled>,
    /// Marks of only the first.
    pub lost: Vec<PointName>,
    /// Marks of only the second.
    pub new: Vec<PointName>,
    /// Marks whose two datums have different names: they are not compared.
    pub other_datum: Vec<PointName>,
}

/// Compares two epochs mark by mark.
pub fn compare(first: &[Mark], second: &[Mark]) -> Epochs {
    let mut epochs = Epochs::default();
    for then in first {
        match second.iter().find(|now| now.name == then.name) {
            None => epochs.lost.push(then.name.clone()),
            Some(now) if now.datum != then.datum => epochs.other_datum.push(then.name.clone()),
            Some(now) => {
                let variance: f64 = [then.sd, now.sd].into_iter().flatten().map(|sd| sd.to_f64_m().powi(2)).sum();
                let change = now.elevation.value() - then.elevation.value();
                epochs.both.push(Settled { name: then.name.clone(), tested: Tested::of(change, variance.sqrt()) });
            }
        }
    }
    let known = |name: &PointName| first.iter().any(|then| then.name == *name);
    epochs.new = second.iter().map(|now| &now.name).filter(|name| !known(name)).cloned().collect();
    epochs
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Measured;

    fn mark(name: &str, elevation: &str, sd_um: i64) -> Mark {
        Mark {
            sd: (sd_um > 0).then(|| Length::from_um(sd_um)),
            ..Mark::of(PointName::new(name).unwrap(), Measured::parse(elevation, Unit::Metre).unwrap())
        }
    }

    fn um(um: i64) -> Length {
        Length::from_um(um)
    }

    #[test]
    fn two_marks_agree_are_in_doubt_or_have_moved() {
        // Deviations 0.6, 0.64 and 0.48 mm in quadrature make 1 mm.
        let (from, to) = (mark("A", "50.0000", 600), mark("B", "51.0000", 640));
        let test = |off_um: i64| agree(&from, &to, um(1_000_000 + off_um), um(480)).agreement;
        assert_eq!([test(0), test(1_959), test(-1_959)], [Agreement::Agrees; 3]);
        assert_eq!([test(1_960), test(-3_290)], [Agreement::Doubtful; 2]);
        assert_eq!([test(3_291), test(-3_291)], [Agreement::Moved; 2]);
        let tested = agree(&from, &to, um(1_002_000), um(480));
        assert_eq!(tested.words(Unit::Metre), "+2.0 mm off, 2.0 mm are within chance at 95 % (p 0.046)");
        assert_eq!(tested.words(Unit::Foot), "+0.0066 ft off, 0.0064 ft are within chance at 95 % (p 0.046)");
    }

    #[test]
    fn without_any_deviation_only_nought_agrees() {
        assert_eq!(Tested::of(Length::ZERO, 0.0).agreement, Agreement::Agrees);
        assert_eq!(Tested::of(um(1), 0.0).agreement, Agreement::Moved);
    }

    #[test]
    fn epochs_tell_which_marks_have_settled() {
        let first =
            [mark("A", "50.0000", 300), mark("B", "51.0000", 300), mark("C", "52.0000", 300), mark("D", "1", 0)];
        let second = [
            mark("B", "50.9980", 400),
            mark("A", "50.0004", 400),
            mark("E", "9", 0),
            Mark { datum: Some("site".to_owned()), ..mark("C", "2.0000", 0) },
        ];
        let epochs = compare(&first, &second);
        let said: Vec<_> = epochs.both.iter().map(|s| (s.name.as_str(), s.tested.agreement)).collect();
        assert_eq!(said, [("A", Agreement::Agrees), ("B", Agreement::Moved)], "2 mm are four deviations of 0.5 mm");
        assert_eq!(epochs.both[1].tested.difference, um(-2_000));
        let names = |names: &[PointName]| names.iter().map(ToString::to_string).collect::<Vec<_>>();
        assert_eq!((names(&epochs.lost), names(&epochs.new)), (vec!["D".to_owned()], vec!["E".to_owned()]));
        assert_eq!(names(&epochs.other_datum), ["C"]);
    }
}
