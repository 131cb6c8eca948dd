//! Mistakes in one staff reading: its sign, a whole unit, its digits, or one shot against its own repeats.

use super::{Candidate, Footprint};
use crate::adjust::explain::conditions::{Class, Conditions};
use crate::adjust::explain::digits::neighbours_exchanged;
use crate::adjust::explain::{Mistake, Site, priors};
use crate::book::Came;
use crate::book::event::Taken;
use crate::book::run::{Run, Setup, Shot};
use crate::units::{Length, Measured, Unit};

/// One shot that counts, with where it stands.
struct Seen<'a> {
    class: usize,
    run: &'a Run,
    setup: &'a Setup,
    shot: &'a Shot,
    /// How the rise changes with the reading: +1/m for a backsight of m shots, -1/m for a foresight.
    share: f64,
    /// What the staff is taken to have read.
    staff: Measured,
    typed: bool,
}

/// All shots that count and bear on the closures.
fn seen<'a>(conditions: &Conditions<'a>) -> Vec<Seen<'a>> {
    let mut all = Vec::new();
    for (class, Class { setups, .. }) in conditions.classes.iter().enumerate() {
        for (run, setup) in setups {
            for (shots, sign) in [(&setup.back, 1.0), (&setup.fore, -1.0)] {
                let counted = || shots.iter().filter(|shot| shot.counts());
                let share = sign / counted().count() as f64;
                for shot in counted() {
                    let Some(entry) = conditions.book.entry(shot.reading) else { continue };
                    let staff = conditions.book.amendments().staff(shot.reading, &entry.reading);
                    let typed = entry.came == Came::KeyedIn;
                    all.push(Seen { class, run, setup, shot, share, staff, typed });
                }
            }
        }
    }
    all
}

impl Seen<'_> {
    /// The mistake that the staff read something else, if that would explain the closure.
    fn taken_for(
        &self,
        conditions: &Conditions<'_>,
        mistake: Mistake,
        staff: Measured,
        prior: f64,
    ) -> Option<Candidate> {
        let change = (staff.value() - self.staff.value()).to_f64_mm() * self.share;
        let column = &conditions.classes[self.class].column;
        let (after_mm, gain) = conditions.closes(column, change)?;
        let footprint = column.footprint(change);
        let change = Length::from_f64_m(change / 1000.0)?;
        let rise = self.setup.reduced.rise()? + change;
        let mut site =
            Site::of_setup(self.run, self.setup, Some(rise), Taken::Read { reading: self.shot.reading, staff });
        site.reading = Some(self.shot.reading);
        Some(Candidate { mistake, site, after_mm, ln_odds: gain + prior.ln(), footprint })
    }

    /// The same staff with another value, in the unit and with the decimals that it came with.
    fn moved_by(&self, by: Length) -> Option<Measured> {
        let unit = self.staff.unit();
        Measured::from_length(self.staff.value() + by, unit, self.staff.digits().decimals()).ok()
    }
}

/// A sign lost on an inverted staff, or given to an upright one.
pub(super) fn sign_lost(conditions: &Conditions<'_>, found: &mut Vec<Candidate>) {
    let inverted = conditions.book.entries().iter().any(|entry| entry.reading.staff.value() < Length::ZERO);
    let prior = priors::SIGN_LOST[usize::from(!inverted)];
    for seen in seen(conditions) {
        let turned = seen.moved_by(seen.staff.value() * -2);
        let turned = turned.and_then(|turned| seen.taken_for(conditions, Mistake::SignLost, turned, prior));
        found.extend(turned);
    }
}

/// A whole metre or decimetre, or a whole foot or tenth, as the job's staff is marked.
pub(super) fn whole_unit(conditions: &Conditions<'_>, found: &mut Vec<Candidate>) {
    let staffs = conditions.book.settings().staffs.length;
    for seen in seen(conditions) {
        let prior = priors::WHOLE_UNIT[usize::from(!seen.typed)];
        let steps: [Length; 2] = if seen.staff.unit().is_foot() { feet() } else { metres() };
        for (step, by) in steps.into_iter().flat_map(|step| [(step, step), (step, -step)]) {
            let Some(staff) = seen.moved_by(by) else { continue };
            // The foot of the staff is not passed by a miscount of its marks, nor its top.
            let turned = (staff.value() < Length::ZERO) != (seen.staff.value() < Length::ZERO);
            if !turned && staff.value().abs() <= staffs {
                found.extend(seen.taken_for(conditions, Mistake::WholeUnit { step }, staff, prior));
            }
        }
    }
}

fn metres() -> [Length; 2] {
    [Length::from_mm(1000), Length::from_mm(100)]
}

fn feet() -> [Length; 2] {
    ["1", "0.1"].map(|feet| Length::parse(feet, Unit::Foot).expect("a foot and a tenth are lengths"))
}

/// Two neighbouring digits exchanged in a reading that a person typed.
pub(super) fn turned(conditions: &Conditions<'_>, found: &mut Vec<Candidate>) {
    for seen in seen(conditions).into_iter().filter(|seen| seen.typed) {
        for staff in neighbours_exchanged(&seen.staff) {
            found.extend(seen.taken_for(conditions, Mistake::DigitsTurned, staff, priors::TURNED_READING));
        }
    }
}

/// One shot that is off against its own repeats: without it the closure is inside.
///
/// How far it is off counts for it: by plain noise a shot differs from the mean of `m - 1` others by
/// `sigma_r sqrt(1 + 1/(m - 1))`, by a mistake by any size.
pub(super) fn against_repeats(conditions: &Conditions<'_>, found: &mut Vec<Candidate>) {
    let reading_sd = conditions.book.settings().instrument.reading_sd.to_f64_mm();
    for seen in seen(conditions) {
        let others = (1.0 / seen.share.abs()).round() - 1.0;
        if others < 1.0 {
            continue;
        }
        let shots = if seen.share > 0.0 { &seen.setup.back } else { &seen.setup.fore };
        let rest = shots.iter().filter(|shot| shot.counts() && shot.reading != seen.shot.reading);
        let Some(mean) = Length::mean(rest.map(|shot| shot.value)) else { continue };
        let off = seen.shot.value - mean;
        let change = -off.to_f64_mm() * seen.share;
        let Some((after_mm, gain)) = conditions.closes(&conditions.classes[seen.class].column, change) else {
            continue;
        };
        let deviation = reading_sd * (1.0 + 1.0 / others).sqrt();
        let apart =
            priors::size_density(off.to_f64_mm()).ln() - conditions.noise.ln_difference(off.to_f64_mm(), deviation);
        let Some(rise) = seen.setup.reduced.rise() else { continue };
        let then = Length::from_f64_m(change / 1000.0).map(|change| rise + change);
        let mut site = Site::of_setup(seen.run, seen.setup, then, Taken::Struck { reading: seen.shot.reading });
        site.reading = Some(seen.shot.reading);
        found.push(Candidate {
            mistake: Mistake::AgainstRepeats { off_by: off },
            site,
            after_mm,
            ln_odds: gain + apart + priors::AGAINST_REPEATS.ln(),
            footprint: Footprint::Alone,
        });
    }
}
