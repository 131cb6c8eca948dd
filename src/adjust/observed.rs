//! What job files give to a network: observed differences between marks, known points, and how good both are.
//!
//! Runs are cut and summed as [`super::levelled`] does it, so that a job gives the same lines here and in its report. Only
//! named intermediate sights are taken: a number says nothing beside other jobs.
//!
//! A rise up a tape or across a gap keeps the deviation that its own readings gave it, whatever rule weighs the runs.
//!
//! Turning points and unnamed starts belong to their job: beside other jobs their names carry the job's.

use super::given::{Given, Hold, KnownMark, Section};
use super::levelled::{self, Origin};
use super::weights::{Growth, WeightRule};
use crate::book::Book;
use crate::book::reading::PointName;
use crate::book::run::{Run, Setup, Side};
use crate::units::Length;

pub use super::levelled::Detail;

/// Whether sections state the standard deviation that their readings let expect.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Deviations {
    /// Each states its own, which wins over any rule of weights.
    Stated,
    /// A rule is to weigh them.
    LeftOut,
}

/// A job with the name that its own points are told apart by.
#[derive(Clone, Copy, Debug)]
pub struct Source<'a> {
    /// The name.
    pub name: &'a str,
    /// The book.
    pub book: &'a Book,
}

/// What some jobs come to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Observed {
    /// The network.
    pub given: Given,
    /// Where each of its sections comes from, in their order: the place of its job, and what it was there.
    pub origins: Vec<(usize, Origin)>,
}

/// The network that some jobs come to. Elevations that were made up hold it only if there are no others.
pub fn observed(jobs: &[Source<'_>], detail: Detail, deviations: Deviations) -> Observed {
    let mut all = Observed::default();
    let assumed_only = jobs.iter().flat_map(|job| job.book.known().values()).all(|known| known.assumed);
    for (at, job) in jobs.iter().enumerate() {
        let names = Names { job: (jobs.len() > 1).then_some(job.name) };
        let known = job.book.known().values().filter(|known| !known.assumed || assumed_only);
        all.given.known.extend(known.map(|known| KnownMark {
            mark: known.name.clone(),
            elevation: known.elevation.value(),
            hold: Hold::Fixed,
        }));
        let found = levelled::found(job.book, detail, |side| is_named(job.book, side));
        for (section, origin) in found.sections.into_iter().zip(found.origins) {
            let own = deviations == Deviations::Stated || matches!(origin, Origin::Rise { .. });
            all.given.sections.push(Section {
                from: names.of(&section.from),
                to: names.of(&section.to),
                deviation: section.deviation.filter(|_| own),
                ..section
            });
            all.origins.push((at, origin));
        }
    }
    all
}

/// The rule of weights that the instruments of these jobs let expect: from the standard deviation of a setup, and by length
/// as many setups as they took a kilometre. `None` without setups or, by length, without sight lengths.
///
/// `s_km = s_setup sqrt(setups / km)`, errors of setups added in quadrature. Source: textbooks, from memory.
pub fn instrument_rule(jobs: &[Source<'_>], growth: Growth) -> Option<WeightRule> {
    let (mut variance, mut count, mut length) = (0.0, 0.0, Length::ZERO);
    for job in jobs {
        let setup_mm = job.book.settings().setup_sd_mm();
        let setups: u32 = job.book.runs().iter().filter_map(|run| run.setups.last()).map(Setup::setups).sum();
        variance += setup_mm * setup_mm * f64::from(setups);
        count += f64::from(setups);
        length += job.book.runs().iter().map(Run::distance).sum();
    }
    let per = match growth {
        Growth::Setups => count,
        Growth::Length => length.to_f64_m() / 1000.0,
    };
    (count > 0.0 && per > 0.0).then(|| {
        let mm = (variance / per).sqrt();
        match growth {
            Growth::Setups => WeightRule::Setups { mm_per_sqrt_setup: mm },
            Growth::Length => WeightRule::Length { mm_per_sqrt_km: mm },
        }
    })
}

/// What a job's points are called beside those of other jobs.
struct Names<'a> {
    job: Option<&'a str>,
}

/// Whether the record or a person named the point of an intermediate sight.
fn is_named(book: &Book, side: &Side) -> bool {
    let reading = side.shot.reading;
    let sent = book.entry(reading).is_some_and(|entry| entry.reading.point.is_some());
    sent || book.amendments().of(reading).is_some_and(|said| said.point.is_some())
}

impl Names<'_> {
    /// What a point is called in the network.
    fn of(&self, point: &PointName) -> PointName {
        match self.job {
            Some(job) if own(point) => {
                let text = format!("{point} ({job})");
                PointName::new(&text).ok().or_else(|| PointName::from_wire(&text)).unwrap_or_else(|| point.clone())
            }
            _ => point.clone(),
        }
    }
}

/// A name that every job gives to points of its own: a numbered turning point, or the start that nobody named.
fn own(point: &PointName) -> bool {
    let text = point.as_str();
    let number = text.strip_prefix("TP").filter(|number| !number.is_empty());
    text == "START" || number.is_some_and(|number| number.bytes().all(|byte| byte.is_ascii_digit()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::event::{Body, Command, Event, Target};
    use crate::book::moment::Moment;
    use crate::book::reading::{Heard, Reading, Role};
    use crate::book::settings::{Booking, Corrections, Instrument, KnownPoint, Settings, Staffs};
    use crate::book::{classes, sequence::Sequence};
    use crate::units::{Measured, Unit};

    fn metres(text: &str) -> Measured {
        Measured::parse(text, Unit::Metre).unwrap()
    }

    fn name(text: &str) -> PointName {
        PointName::new(text).unwrap()
    }

    /// A job that knows `A` at 10 m, and what is heard and said in it: `reading point` or `reading`, an `i` before an
    /// intermediate sight.
    fn book(shots: &[&str], said: &[Command]) -> Book {
        let settings = Settings {
            unit: Unit::Metre,
            also_units: Vec::new(),
            class: classes::find("building").unwrap().clone(),
            sequence: Sequence::BF,
            start: Some(name("A")),
            known: vec![KnownPoint { name: name("A"), elevation: metres("10.000"), assumed: false }],
            staffs: Staffs::default(),
            instrument: Instrument::default(),
            corrections: Corrections::default(),
            booking: Booking::HeightOfInstrument,
        };
        let mut bodies = vec![Body::JobOpened { program: "test".to_owned(), settings: Box::new(settings) }];
        for shot in shots {
            let (role, shot) = match shot.strip_prefix("i ") {
                Some(rest) => (Some(Role::Intermediate), rest),
                None => (None, *shot),
            };
            let (staff, point) = shot.split_once(' ').map_or((shot, None), |(staff, point)| (staff, Some(name(point))));
            let mut reading = Reading::of(metres(staff));
            (reading.sight, reading.role, reading.point) = (Some(metres("20.00")), role, point);
            bodies.push(Body::Heard { heard: Heard::Reading(reading) });
        }
        let by = crate::book::event::Origin::Tell;
        bodies.extend(said.iter().map(|command| Body::Commanded { command: command.clone(), by: by.clone() }));
        let event = |(seq, body)| Event { seq, at: Moment::from_us(0), simulated: false, body, raw: Vec::new() };
        let events: Vec<Event> = (1..).zip(bodies).map(event).collect();
        Book::fold(&events)
    }

    /// `from to rise length setups` of each section.
    fn told(jobs: &[Source<'_>], detail: Detail) -> Vec<String> {
        let section = |section: &Section<PointName>| {
            let length = section.length.map_or("-".to_owned(), |length| length.show(Unit::Metre, 0));
            let rise = section.rise.show_signed(Unit::Metre, 3);
            format!("{} {} {rise} {length} {}", section.from, section.to, section.setups.unwrap())
        };
        observed(jobs, detail, Deviations::LeftOut).given.sections.iter().map(section).collect()
    }

    const LOOP: [&str; 6] = ["1.500", "1.000", "1.400", "1.100 B", "1.000", "1.801 A"];

    #[test]
    fn a_run_is_cut_at_its_marks_or_at_every_point() {
        let book = book(&LOOP, &[]);
        let job = [Source { name: "one", book: &book }];
        assert_eq!(told(&job, Detail::Marks), ["A B +0.800 80 2", "B A -0.801 40 1"]);
        assert_eq!(told(&job, Detail::TurningPoints), ["A TP1 +0.500 40 1", "TP1 B +0.300 40 1", "B A -0.801 40 1"]);
    }

    #[test]
    fn turning_points_of_two_jobs_are_two_points() {
        let book = book(&LOOP[..4], &[]);
        let jobs = [Source { name: "one", book: &book }, Source { name: "two", book: &book }];
        assert_eq!(
            told(&jobs, Detail::TurningPoints),
            [
                "A TP1 (one) +0.500 40 1",
                "TP1 (one) B +0.300 40 1",
                "A TP1 (two) +0.500 40 1",
                "TP1 (two) B +0.300 40 1"
            ]
        );
    }

    #[test]
    fn a_named_intermediate_sight_hangs_on_the_point_that_its_setup_went_to() {
        let book = book(&["1.500", "1.000", "1.400", "i 0.500 C", "i 0.600", "1.100 B"], &[]);
        let job = [Source { name: "one", book: &book }];
        assert_eq!(told(&job, Detail::Marks), ["A B +0.800 80 2", "B C +0.600 40 1"]);
    }

    #[test]
    fn nothing_is_carried_over_a_gap() {
        let strike = Command::Strike { reading: 3, place: Default::default() };
        let book = book(&["1.500", "1.000", "1.400", "1.100", "1.000", "1.801 B"], &[strike]);
        let job = [Source { name: "one", book: &book }];
        assert_eq!(told(&job, Detail::Marks), ["A TP1 +0.500 40 1", "TP2 B -0.801 40 1"]);
        let named = Command::Point { reading: Target::Number(2), point: name("K") };
        let strike = Command::Strike { reading: 3, place: Default::default() };
        let book = self::book(&["1.500", "1.000", "1.400", "1.100", "1.000", "1.801 B"], &[named, strike]);
        let job = [Source { name: "one", book: &book }];
        assert_eq!(told(&job, Detail::Marks), ["A K +0.500 40 1", "TP2 B -0.801 40 1"]);
    }

    #[test]
    fn weights_follow_from_the_instrument() {
        let book = book(&LOOP, &[]);
        let job = [Source { name: "one", book: &book }];
        let Some(WeightRule::Setups { mm_per_sqrt_setup }) = instrument_rule(&job, Growth::Setups) else { panic!() };
        assert!((mm_per_sqrt_setup - 0.3 * 2f64.sqrt()).abs() < 1e-12);
        // 25 setups of 20 m sights to the kilometre.
        let Some(WeightRule::Length { mm_per_sqrt_km }) = instrument_rule(&job, Growth::Length) else { panic!() };
        assert!((mm_per_sqrt_km - 0.3 * 50f64.sqrt()).abs() < 1e-12);
        let stated = observed(&job, Detail::Marks, Deviations::Stated).given.sections[0].deviation.unwrap();
        assert!((stated.to_f64_mm() - 0.6).abs() < 1e-6, "two setups: {stated:?}");
    }
}
