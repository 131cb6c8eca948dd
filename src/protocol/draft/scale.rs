//! How numbers out of frames become lengths, and whether a row of them says what the display showed.

use crate::units::{Decimal, Measured, Unit};

/// How a number out of a frame becomes a length: `sent * times / 10^implied`, in a unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Scale {
    /// So many digits stand behind a point that is not sent.
    pub(super) implied: u8,
    pub(super) times: u8,
    pub(super) unit: Unit,
}

/// Whether a minus is sent with the number, or by something else in the frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Minus {
    /// With it.
    Sent,
    /// The number is the size only.
    Apart,
}

/// The most decimals that an implied point is tried with: 0.1 micrometre.
const IMPLIED_MAX: u8 = 7;

/// The steps of the last digit that are tried: instruments resolve ones, twos and fives.
const TIMES: [u8; 4] = [1, 5, 2, 25];

/// A staff reading farther from zero than this many metres is none: the longest staffs have 7.6 m (25 ft). From memory.
const STAFF_MAX_M: i64 = 10;

/// A sight longer than this many metres is none: levels focus to a hundred or two. Common practice, no source.
const SIGHT_MAX_M: i64 = 500;

/// Numbers of one place in every frame; `None` where there is none.
pub(super) type Row = [Option<Decimal>];

/// What the display showed of one length, with all numbers that could be sent for the first of them.
///
/// Thousands of rows are looked at and nearly none holds what was seen: one look a number must be enough to say so.
pub(super) struct Display {
    pub(super) seen: Vec<Measured>,
    minus: Minus,
    scales: Vec<Scale>,
    /// For numbers with so many decimals: the least and the greatest number that is the first one seen, the greatest
    /// of all before it in the list, and by which scale. Sorted by the least.
    first: Vec<Vec<Window>>,
}

#[derive(Clone, Copy)]
struct Window {
    least: i64,
    most: i64,
    most_so_far: i64,
    scale: usize,
}

impl Display {
    pub(super) fn new(seen: Vec<Measured>, minus: Minus) -> Self {
        let mut scales = Vec::new();
        for times in TIMES {
            for unit in units(&seen) {
                scales.extend((0..=IMPLIED_MAX).map(|implied| Scale { implied, times, unit }));
            }
        }
        let windows = |decimals: usize| {
            let Some(first) = seen.first() else { return Vec::new() };
            let window = |(place, scale): (usize, &Scale)| {
                let (least, most) = window(first, Scale { implied: scale.implied + decimals as u8, ..*scale }, minus);
                (least <= most).then_some(Window { least, most, most_so_far: most, scale: place })
            };
            let mut windows: Vec<Window> = scales.iter().enumerate().filter_map(window).collect();
            windows.sort_by_key(|window| window.least);
            for at in 1..windows.len() {
                windows[at].most_so_far = windows[at].most.max(windows[at - 1].most_so_far);
            }
            windows
        };
        let first = (0..DECIMALS).map(windows).collect();
        Display { seen, minus, scales, first }
    }

    /// Marks the scales by which a number is the first one seen.
    fn mark(&self, number: Decimal, marked: &mut [bool]) {
        let Some(windows) = self.first.get(usize::from(number.decimals)) else { return };
        let mantissa = sized(number.mantissa, self.minus);
        let below = windows.partition_point(|window| window.least <= mantissa);
        for window in windows[..below].iter().rev().take_while(|window| window.most_so_far >= mantissa) {
            marked[window.scale] |= window.most >= mantissa;
        }
    }

    /// The scales under which all that was seen stands in the row in order, perhaps with others between.
    ///
    /// A number sent with its point is only read as it is, in each unit; one without also with an implied point. Steps
    /// of more than one are tried only where nothing else fits.
    pub(super) fn scales(&self, row: &Row) -> Vec<Scale> {
        let mut marked = vec![false; self.scales.len()];
        row.iter().flatten().for_each(|number| self.mark(*number, &mut marked));
        if !marked.contains(&true) {
            return Vec::new();
        }
        let pointed = row.iter().flatten().any(|number| number.decimals > 0);
        let mut found: Vec<Scale> = Vec::new();
        for scale in self.scales.iter().zip(marked).filter_map(|(scale, marked)| marked.then_some(*scale)) {
            let steps = found.iter().any(|other| other.times != scale.times);
            // The same length in another unit is the same reading: 0.1 mm is 0.0001 m.
            let known = found.iter().any(|other| same(*other, scale));
            if steps || known || (pointed && (scale.implied > 0 || scale.times > 1)) {
                continue;
            }
            if in_order(row.len(), self.seen.len(), &mut agreeing(row, scale, &self.seen, self.minus)).is_some() {
                found.push(scale);
            }
        }
        found
    }
}

/// Whether number `frame` of a row, so read, is what number `shown` of the display showed.
pub(super) fn agreeing<'a>(
    row: &'a Row,
    scale: Scale,
    seen: &'a [Measured],
    minus: Minus,
) -> impl FnMut(usize, usize) -> bool + 'a {
    let mut windows: [Option<Vec<(i64, i64)>>; DECIMALS] = Default::default();
    move |frame, shown| {
        let Some(number) = row[frame] else { return false };
        let Some(place) = windows.get_mut(usize::from(number.decimals)) else { return false };
        let windows = place.get_or_insert_with(|| {
            let sent = Scale { implied: scale.implied + number.decimals, ..scale };
            seen.iter().map(|seen| window(seen, sent, minus)).collect()
        });
        let (least, most) = windows[shown];
        let mantissa = sized(number.mantissa, minus);
        (least..=most).contains(&mantissa)
    }
}

/// The most decimals of a number in a frame, and one.
const DECIMALS: usize = 12;

/// The frames in which all that was seen stands in order: the first that do.
pub(super) fn in_order(frames: usize, seen: usize, agrees: &mut dyn FnMut(usize, usize) -> bool) -> Option<Vec<usize>> {
    let mut places = Vec::new();
    for frame in 0..frames {
        if places.len() < seen && agrees(frame, places.len()) {
            places.push(frame);
        }
    }
    (seen > 0 && places.len() == seen).then_some(places)
}

/// Whether a number can be a staff reading.
pub(super) fn plausible_staff(number: Decimal, scale: Scale) -> bool {
    within(number, scale, -STAFF_MAX_M, STAFF_MAX_M)
}

/// Whether a number can be a sight length.
pub(super) fn plausible_sight(number: Decimal, scale: Scale) -> bool {
    within(number, scale, 0, SIGHT_MAX_M)
}

/// The least and the greatest staff reading, in whole ones of a unit.
pub(super) fn staff_range(unit: Unit) -> (i64, i64) {
    (-whole(STAFF_MAX_M, unit), whole(STAFF_MAX_M, unit))
}

/// The least and the greatest sight length, in whole ones of a unit.
pub(super) fn sight_range(unit: Unit) -> (i64, i64) {
    (0, whole(SIGHT_MAX_M, unit))
}

fn whole(metres: i64, unit: Unit) -> i64 {
    (i128::from(metres) * PER_METRE / per(unit)) as i64
}

fn within(number: Decimal, scale: Scale, least_m: i64, most_m: i64) -> bool {
    let (length, over) = lengthened(number.mantissa, scale, number.decimals);
    let metre = |m: i64| i128::from(m) * PER_METRE * over;
    (metre(least_m)..=metre(most_m)).contains(&length)
}

/// One metre in 1e-10 m.
const PER_METRE: i128 = 10_000_000_000;

/// One of a unit in 1e-10 m. Survey feet are not drafted: no display tells them from international ones.
fn per(unit: Unit) -> i128 {
    match unit {
        Unit::Metre => PER_METRE,
        Unit::Millimetre => PER_METRE / 1000,
        Unit::Foot | Unit::SurveyFoot => 3_048_000_000,
    }
}

/// A number as length in 1e-10 m, over a power of ten.
fn lengthened(mantissa: i64, scale: Scale, decimals: u8) -> (i128, i128) {
    let over = 10i128.pow(u32::from(scale.implied + decimals).min(24));
    (i128::from(mantissa) * i128::from(scale.times) * per(scale.unit), over)
}

/// The whole numbers that a display would have shown so: to half a step of the coarser of both.
///
/// None, where what is sent is much coarser than what is shown: whole metres agree with everything.
fn window(seen: &Measured, sent: Scale, minus: Minus) -> (i64, i64) {
    let Decimal { mantissa, decimals } = decimal(seen);
    let mantissa = sized(mantissa, minus);
    let (step, over) = (per(sent.unit) * i128::from(sent.times), 10i128.pow(u32::from(sent.implied)));
    let (shown_step, shown_over) = (per(seen.unit()), 10i128.pow(u32::from(decimals)));
    if mantissa.unsigned_abs() > SHOWN_MAX || step * shown_over > COARSER_MAX * shown_step * over {
        return (1, 0);
    }
    // All over `2 * over * shown_over`.
    let value = 2 * i128::from(mantissa) * shown_step * over;
    let coarser = (step * shown_over).max(shown_step * over);
    let each = 2 * step * shown_over;
    let least = (value - coarser).div_euclid(each) + i128::from((value - coarser).rem_euclid(each) != 0);
    let most = (value + coarser).div_euclid(each);
    let cut = |number: i128| i64::try_from(number).unwrap_or(if number < 0 { i64::MIN } else { i64::MAX });
    (cut(least), cut(most))
}

/// The number, or its size where a minus is sent apart.
fn sized(mantissa: i64, minus: Minus) -> i64 {
    if minus == Minus::Apart { mantissa.saturating_abs() } else { mantissa }
}

/// How much coarser than the display an instrument may send: a digit, and a step of it.
const COARSER_MAX: i128 = 10;

/// The largest number, its point left out, that a display is believed: all below stays within 128 bits.
const SHOWN_MAX: u64 = 1_000_000_000;

fn decimal(seen: &Measured) -> Decimal {
    seen.digits().as_str().parse().unwrap_or(Decimal { mantissa: 0, decimals: 0 })
}

/// The unit of the display first: it is the likeliest.
fn units(seen: &[Measured]) -> Vec<Unit> {
    let shown = seen.iter().map(Measured::unit).filter(|unit| *unit != Unit::SurveyFoot);
    let mut units: Vec<Unit> = Vec::new();
    for unit in shown.chain([Unit::Metre, Unit::Millimetre, Unit::Foot]) {
        if !units.contains(&unit) {
            units.push(unit);
        }
    }
    units
}

/// Whether two scales always give the same length.
fn same(a: Scale, b: Scale) -> bool {
    let places = |scale: Scale| match scale.unit {
        Unit::Metre => Some(scale.implied),
        Unit::Millimetre => Some(scale.implied + 3),
        Unit::Foot | Unit::SurveyFoot => None,
    };
    a == b || (a.times == b.times && places(a).zip(places(b)).is_some_and(|(a, b)| a == b))
}

#[cfg(test)]
mod tests {
    use super::super::Seen;
    use super::*;

    fn row(numbers: &[&str]) -> Vec<Option<Decimal>> {
        numbers.iter().map(|number| number.parse().ok()).collect()
    }

    fn seen(texts: &[&str]) -> Vec<Measured> {
        texts.iter().map(|text| Seen::parse(text).unwrap().staff).collect()
    }

    fn found(numbers: &[&str], texts: &[&str]) -> Vec<Scale> {
        Display::new(seen(texts), Minus::Sent).scales(&row(numbers))
    }

    fn scale(implied: u8, unit: Unit) -> Scale {
        Scale { implied, times: 1, unit }
    }

    #[test]
    fn the_point_and_the_unit_are_found() {
        assert_eq!(found(&["91215", "128340", "5"], &["0.9122", "1.2834"]), [scale(5, Unit::Metre)]);
        assert_eq!(found(&["912.15", "1283.40"], &["0.91215", "1.2834"]), [scale(0, Unit::Millimetre)]);
        assert_eq!(found(&["4.2106"], &["1.2834"]), [scale(0, Unit::Foot)]);
        assert_eq!(found(&["128340", "91215"], &["0.9122", "1.2834"]), []);
        assert_eq!(found(&["128340"], &[]), []);
    }

    #[test]
    fn steps_of_more_than_one_are_found_where_nothing_else_fits() {
        // 1.2835 m in steps of 0.0005 m.
        let found = found(&["2567", "1825"], &["1.2835", "0.9125"]);
        assert_eq!(found, [Scale { implied: 4, times: 5, unit: Unit::Metre }]);
    }

    #[test]
    fn a_coarse_display_agrees_with_what_it_rounds() {
        assert_eq!(found(&["1.28340"], &["1.283"]), [scale(0, Unit::Metre)]);
        assert_eq!(found(&["1.28360"], &["1.283"]), []);
        assert_eq!(found(&["1.28350"], &["1.283"]), [scale(0, Unit::Metre)]);
    }

    #[test]
    fn a_size_without_its_sign_agrees_only_where_the_minus_is_sent_apart() {
        assert_eq!(found(&["2.3050"], &["-2.305"]), []);
        let apart = Display::new(seen(&["-2.305"]), Minus::Apart);
        assert_eq!(apart.scales(&row(&["2.3050"])), [scale(0, Unit::Metre)]);
    }

    #[test]
    fn what_no_staff_or_sight_can_be_is_told() {
        let number = |text: &str| text.parse().unwrap();
        assert!(plausible_staff(number("-2305.0"), scale(0, Unit::Millimetre)));
        assert!(!plausible_staff(number("42486"), scale(0, Unit::Millimetre)));
        assert!(!plausible_sight(number("-1"), scale(0, Unit::Metre)));
        assert!(plausible_sight(number("103.1"), scale(0, Unit::Foot)));
    }
}
