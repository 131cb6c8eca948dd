//! A cause in the words of the trade: what, where, how it closes then, how likely, and what would confirm it.

use super::probe_words;
use crate::adjust::explain::{Cause, Explanation, Mistake, Site};
use crate::book::Book;
use crate::book::event::{ReadingNumber, Taken};
use crate::book::wording::Wording;
use crate::units::{Length, Measured};

/// Odds from which no more is said than that they are overwhelming.
const OVERWHELMING: f64 = 1e6;

/// What happened, at the site of that reading or at the likeliest one; without a place where there are several.
pub fn what(book: &Book, cause: &Cause, reading: Option<ReadingNumber>) -> String {
    let say = Wording::new(book.settings().unit);
    let named = reading.and_then(|reading| cause.sites.iter().find(|site| site.is_at(reading)));
    let Some(site) = named.or_else(|| cause.sites.first().filter(|_| cause.sites.len() == 1)) else {
        return somewhere(book, cause);
    };
    let number = site.reading.unwrap_or_default();
    let setup = site.setup.unwrap_or_default();
    let point = |at: usize| site.points.get(at).map(ToString::to_string).unwrap_or_default();
    match &cause.mistake {
        Mistake::Exchanged => {
            let readings: Vec<String> = site.taken.readings().iter().map(ToString::to_string).collect();
            format!("backsight and foresight exchanged at setup {setup} (readings {})", readings.join(", "))
        }
        Mistake::Repeat => format!(
            "reading {number} was one more shot on the staff of reading {}, and the sequence slipped from there on",
            number.saturating_sub(1)
        ),
        Mistake::SignLost => {
            let inverted = booked(book, number).is_some_and(|staff| staff.value() > Length::ZERO);
            let how = if inverted { "the staff was inverted" } else { "the staff was upright" };
            format!("the sign of reading {number} at setup {setup}: {how}, {}", instead(book, site))
        }
        Mistake::WholeUnit { step } => {
            format!("reading {number} at setup {setup} is {} out: {}", step_words(*step), instead(book, site))
        }
        Mistake::DigitsTurned => {
            format!("digits exchanged in reading {number} at setup {setup}, typed: {}", instead(book, site))
        }
        Mistake::AgainstRepeats { off_by } => {
            format!("reading {number} at setup {setup} is off against its repeats by {}", say.signed_height(*off_by))
        }
        Mistake::WrongMark { named, fits } => format!("the staff of reading {number} stood on {fits}, not on {named}"),
        Mistake::ElevationTurned { point } => {
            let given = book.known().get(point).map(|known| digits(&known.elevation)).unwrap_or_default();
            let taken = match &site.taken {
                Taken::Known { known } => digits(&known.elevation),
                _ => String::new(),
            };
            format!("digits exchanged in the elevation of {point}: {taken} for {given}")
        }
        Mistake::KnownMoved { point, by } => {
            format!("{point} is {} {} than its elevation says", say.height(by.abs()), higher(*by))
        }
        Mistake::TurningPoint { by } => {
            format!("{} {} by {} between its two sights", point(0), went(*by), say.height(by.abs()))
        }
        Mistake::StaffZero { by } => {
            format!("the zeros of the two staffs differ by {}, and the setups are odd in number", say.height(by.abs()))
        }
        Mistake::Collimation { mm_per_m, applied_mm_per_m } => {
            let applied = match applied_mm_per_m {
                Some(applied) => format!("besides the {applied:.3} mm/m of the last test, which are applied"),
                None => "no test of the instrument is applied".to_owned(),
            };
            format!("the line of sight {} by {:.3} mm/m; {applied}", climbs(*mm_per_m), mm_per_m.abs())
        }
    }
}

/// What happened at one of several sites.
fn somewhere(book: &Book, cause: &Cause) -> String {
    let say = Wording::new(book.settings().unit);
    match &cause.mistake {
        Mistake::TurningPoint { by } => {
            format!("a turning point {} by {} between its two sights", went(*by), say.height(by.abs()))
        }
        Mistake::WholeUnit { step } => {
            let up = cause.sites.first().and_then(|site| site.rises).is_some_and(|[booked, then]| then > booked);
            let (back, fore) = if up { ("low", "high") } else { ("high", "low") };
            format!("one reading is {} out: a backsight too {back}, or a foresight too {fore}", step_words(*step))
        }
        Mistake::KnownMoved { by, .. } => {
            let points: Vec<&str> =
                cause.sites.iter().flat_map(|site| &site.points).map(|point| point.as_str()).collect();
            format!("one of {} lies {} off its elevation", points.join(" and "), say.height(by.abs()))
        }
        Mistake::Exchanged => {
            "backsight and foresight exchanged at one of several setups with the same rise".to_owned()
        }
        Mistake::SignLost => "the sign of one of several equal readings".to_owned(),
        Mistake::DigitsTurned => "digits exchanged in one of several typed readings".to_owned(),
        // The others stand alone, each at its own place.
        _ => "a mistake at one of several places".to_owned(),
    }
}

/// That nothing tells the places apart, and which levelling would.
pub(super) fn places(book: &Book, cause: &Cause) -> Option<String> {
    let (first, [_, ..]) = cause.sites.split_first()? else { return None };
    let mut setups: Vec<(u32, u32)> = cause.sites.iter().filter_map(|site| Some((site.run, site.setup?))).collect();
    setups.sort_unstable();
    setups.dedup();
    if setups.is_empty() {
        return None;
    }
    let where_from = match (setups.first(), setups.last()) {
        (Some((_, only)), Some((_, last))) if setups.len() == 1 && only == last => format!("setup {only}"),
        (Some((run, from)), Some((other, to))) if run == other => format!("setups {from} to {to}"),
        _ => format!("{} setups of several runs", setups.len()),
    };
    let middle = setups.get(setups.len() / 2).and_then(|&(run, setup)| {
        let run = book.runs().get(run as usize - 1)?;
        Some(&run.setups.get(setup as usize - 1)?.back_point)
    });
    let run = match middle.filter(|_| setups.len() > 1) {
        Some(middle) => format!("; a run from {middle} to any known mark tells which half"),
        None => String::new(),
    };
    let sites = if first.taken == Taken::Booked { "points" } else { "readings" };
    Some(format!("the closures cannot tell where: {where_from}, {} {sites}{run}", cause.sites.len()))
}

/// How it closes then.
pub(super) fn closes(say: Wording, cause: &Cause, allowance: Length) -> String {
    match cause.mistake {
        Mistake::KnownMoved { .. }
        | Mistake::TurningPoint { .. }
        | Mistake::StaffZero { .. }
        | Mistake::Collimation { .. } => "of just that size it would close".to_owned(),
        _ => format!("closes then by {}", say.share(cause.after, allowance)),
    }
}

/// How likely it is, against plain noise.
pub(super) fn likely(odds: f64) -> String {
    if odds >= OVERWHELMING {
        "over a million times as likely as plain noise".to_owned()
    } else if odds >= 2.0 {
        format!("about {} times as likely as plain noise", two_digits(odds))
    } else if odds > 0.5 {
        "about as likely as plain noise".to_owned()
    } else {
        "less likely than plain noise".to_owned()
    }
}

/// What plain noise has to say for itself.
pub(super) fn noise(explanation: &Explanation) -> String {
    let best = explanation.causes.first().map_or(0.0, |cause| cause.share);
    if explanation.causes.is_empty() {
        "no single mistake would close it: more than one, or plain noise".to_owned()
    } else if explanation.noise > best {
        "plain noise explains it best: nothing need be wrong".to_owned()
    } else {
        let percent = 100.0 * explanation.noise;
        if percent < 1.0 { "plain noise: under 1 %".to_owned() } else { format!("plain noise: {percent:.0} %") }
    }
}

/// What in the field would confirm it.
pub(super) fn confirm(book: &Book, cause: &Cause) -> Vec<String> {
    let say = Wording::new(book.settings().unit);
    let decimals = book.decimals();
    let several = cause.sites.len() > 1;
    let mut confirm = Vec::new();
    confirm.extend(cause.probe.as_ref().map(|probe| probe_words(say, decimals, probe, several)));
    let Some(site) = cause.sites.first() else { return confirm };
    match &cause.mistake {
        Mistake::WrongMark { named, fits } => confirm.push(format!("look at the mark: is it {named}, or {fits}")),
        Mistake::ElevationTurned { point } => {
            confirm.push(format!("look the elevation of {point} up where it was published"));
        }
        Mistake::KnownMoved { point, .. } => {
            confirm.push(format!("carry an elevation to {point} from another known mark"));
        }
        Mistake::StaffZero { by } => confirm
            .push(format!("shoot one point with both staffs from one setup: they differ by {}", say.height(by.abs()))),
        Mistake::Collimation { mm_per_m, applied_mm_per_m } => confirm.push(format!(
            "test the instrument between two pegs: {:.3} mm/m if so",
            mm_per_m + applied_mm_per_m.unwrap_or(0.0)
        )),
        Mistake::Repeat => {
            let staff = site.points.first().map(ToString::to_string).unwrap_or_default();
            confirm.push(format!(
                "ask who held the staff at setup {}: was it shot twice on {staff}",
                site.setup.unwrap_or(0)
            ));
        }
        Mistake::TurningPoint { .. } if several => {}
        _ if several => {}
        _ => {
            if let (Some([booked, then]), [from, to]) = (site.rises, &site.points[..]) {
                let rise = |length: Length| length.show_signed(book.settings().unit, decimals);
                confirm.push(format!(
                    "set up once more between {from} and {to}: {} {} if so, {} if not",
                    rise(then),
                    book.settings().unit,
                    rise(booked)
                ));
            }
        }
    }
    confirm
}

fn booked(book: &Book, number: ReadingNumber) -> Option<Measured> {
    Some(book.amendments().staff(number, &book.entry(number)?.reading))
}

/// What a reading would be instead of what is booked.
fn instead(book: &Book, site: &Site) -> String {
    match &site.taken {
        Taken::Read { reading, staff } => {
            let booked = booked(book, *reading).map(|staff| staff.digits().to_string()).unwrap_or_default();
            format!("{} for {booked}", staff.digits())
        }
        _ => String::new(),
    }
}

fn digits(measured: &Measured) -> String {
    format!("{} {}", measured.digits(), measured.unit())
}

fn step_words(step: Length) -> &'static str {
    match step.tenth_nm() {
        10_000_000_000 => "a metre",
        1_000_000_000 => "a decimetre",
        3_048_000_000 => "a foot",
        _ => "a tenth of a foot",
    }
}

fn higher(by: Length) -> &'static str {
    if by > Length::ZERO { "higher" } else { "lower" }
}

/// A rise that should have been larger was seen from a point that had gone up meanwhile.
fn went(by: Length) -> &'static str {
    if by > Length::ZERO { "rose" } else { "sank" }
}

fn climbs(mm_per_m: f64) -> &'static str {
    if mm_per_m > 0.0 { "climbs" } else { "falls" }
}

/// A number with two digits that count, thousands set apart.
fn two_digits(number: f64) -> String {
    let scale = 10f64.powf(number.log10().floor() - 1.0);
    let text = format!("{:.0}", (number / scale).round() * scale);
    let mut out = String::new();
    for (at, digit) in text.chars().enumerate() {
        if at > 0 && (text.len() - at) % 3 == 0 {
            out.push(',');
        }
        out.push(digit);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn likelihood_is_said_with_two_digits() {
        assert_eq!(likely(123_456.0), "about 120,000 times as likely as plain noise");
        assert_eq!(likely(2.4), "about 2 times as likely as plain noise");
        assert_eq!(likely(1.2), "about as likely as plain noise");
        assert_eq!(likely(0.01), "less likely than plain noise");
        assert_eq!(likely(1e300), "over a million times as likely as plain noise");
    }
}
