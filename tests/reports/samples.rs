//! Jobs that have a bit of everything, driven through the book as in the field.

use closerun::book::Book;
use closerun::book::event::{Command, Event, LinkState, Target};
use closerun::book::reading::{Heard, Reading, Refusal, Role};
use closerun::book::settings::{Corrections, KnownPoint, StaffExpansion};
use closerun::book::{Input, settings::Settings};
use closerun::report::document::full::{RecordView, Report, ReportOptions, report};
use closerun::report::document::{BookOptions, FieldBook, document};

use crate::harness::crew::{Crew, known, name, reading, settings};

/// A job with its events.
pub(crate) struct Job {
    pub(crate) events: Vec<Event>,
    pub(crate) book: Book,
}

impl Job {
    pub(crate) fn of(crew: Crew) -> Self {
        Job { events: crew.events, book: crew.book }
    }

    /// The same job, from a simulated instrument.
    pub(crate) fn simulated(mut self) -> Self {
        for event in &mut self.events {
            event.simulated = true;
        }
        self.book = Book::fold(&self.events);
        self
    }

    pub(crate) fn options(&self) -> BookOptions {
        BookOptions::of(&self.book)
    }

    pub(crate) fn document(&self, options: BookOptions) -> FieldBook {
        document(&self.book, &self.events, "core-3", options)
    }

    pub(crate) fn report_options(&self) -> ReportOptions {
        ReportOptions {
            book: self.options(),
            run: None,
            record: RecordView { events: self.events.len() as u64, digest: "0123456789abcdef".repeat(4), damage: None },
        }
    }

    pub(crate) fn report(&self, options: ReportOptions) -> Report {
        report(&self.book, &self.events, "core-3", options)
    }
}

fn strike(reading: u32) -> Command {
    Command::Strike { reading, place: Default::default() }
}

fn note(reading: Option<u32>, text: &str) -> Command {
    Command::Note { reading, text: text.to_owned() }
}

pub(crate) fn side(staff: &str, sight: &str, point: &str) -> Reading {
    let mut side = reading(staff, sight);
    side.role = Some(Role::Intermediate);
    side.point = Some(name(point));
    side
}

fn fore_on(crew: &mut Crew, point: &str, staff: &str, sight: &str) {
    crew.say(Command::Point { reading: Target::Next, point: name(point) });
    crew.shoot([(staff, sight)]);
}

/// A loop from BM-1 over BM-2 and back, with a struck foresight, a strike taken back, a repeat, intermediate sights,
/// a setup broken off, a keyed-in reading, one without a checksum, a damaged record, a hold that was acknowledged,
/// and a second run that hangs.
pub(crate) fn day() -> Job {
    let mut settings = settings();
    settings.known.push(known("BM-2", "52.9310"));
    settings.known.push(KnownPoint { assumed: true, ..known("DATUM-X", "10.000") });
    settings.known[0] = known("BM-1", "52.3480");
    day_with(settings)
}

pub(crate) fn day_with(settings: Settings) -> Job {
    let mut crew = Crew::new(settings);
    crew.take(Input::Link(LinkState::Open)).unwrap();
    // Setup 1: the first foresight was bumped, and its place is taken by the next.
    crew.shoot([("1.8342", "20.10"), ("1.5021", "20.40")]);
    crew.say(strike(2));
    crew.say(note(Some(2), "staff was bumped by the loader"));
    crew.shoot([("1.5126", "20.42")]);
    // Setup 2: two marks on the slab, one with a name that is none of a spreadsheet's business.
    crew.shoot([("1.6104", "24.30")]);
    crew.hear(Heard::Reading(side("1.4210", "11.05", "slab-7")));
    crew.hear(Heard::Reading(side("-2.1050", "12.40", "=1+1")));
    crew.hear(Heard::Refused(Refusal { reason: "checksum 5C, computed 5D".to_owned(), at_byte: 21 }));
    crew.shoot([("1.3498", "21.80")]);
    crew.say(Command::Acknowledge { key: "balance@setup-1.2".parse().unwrap() });
    // Setup 3: broken off after its backsight, begun anew; two shots on the fore staff.
    crew.shoot([("1.7001", "18.00")]);
    crew.say(Command::Break { reading: None });
    crew.shoot([("1.7310", "18.02")]);
    fore_on(&mut crew, "BM-2", "1.7308", "18.30");
    crew.hear(Heard::Reading(reading("1.7311", "18.30")));
    crew.say(Command::Repeat { reading: crew.book.entries().len() as u32 });
    // Setup 4 was struck by mistake, and restored; no checksum stood over its foresight.
    crew.shoot([("1.2044", "22.00")]);
    let mut bare = reading("1.6403", "22.30");
    bare.unprotected = true;
    crew.hear(Heard::Reading(bare));
    let last = crew.book.entries().len() as u32;
    crew.say(strike(last));
    crew.say(Command::Restore { reading: last });
    // Setup 5 was read by eye.
    crew.say(Command::KeyIn { reading: Box::new(reading("1.3620", "19.50")) });
    crew.say(Command::Point { reading: Target::Next, point: name("BM-1") });
    crew.say(Command::KeyIn { reading: Box::new(reading("1.5090", "19.60")) });
    crew.say(Command::EndRun { reading: None });
    crew.say(note(None, "wind from the west, gusty"));
    // Run 2 hangs.
    crew.say(Command::StartRun { point: name("BM-2"), after: None });
    crew.shoot([("1.5503", "17.00"), ("1.2106", "17.10"), ("1.4400", "16.00")]);
    Job::of(crew)
}

/// Readings with all corrections on; some lack what a correction needs.
pub(crate) fn corrected() -> Job {
    let mut settings = settings();
    settings.corrections = Corrections {
        collimation_mm_per_m: Some(0.05),
        refraction_k: Some(0.14),
        staff_scale_ppm: None,
        staff_expansion: Some(StaffExpansion { ppm_per_c: 23.0, standard_c: 20.0, staff_c: None }),
    };
    let mut crew = Crew::new(settings);
    let mut warm = reading("1.50000", "30.00");
    warm.temperature_c = Some(30.0);
    crew.hear(Heard::Reading(warm));
    crew.shoot([("1.20000", "10.00")]);
    crew.say(Command::KeyIn { reading: Box::new(reading("1.40000", "")) });
    crew.shoot([("1.30000", "20.00")]);
    Job::of(crew)
}

/// A run of many setups, closed on its start.
pub(crate) fn long(setups: usize) -> Job {
    let mut settings = settings();
    settings.start = Some(name("BM-1"));
    let mut crew = Crew::new(settings);
    for setup in 1..=setups {
        // Up for half of the way, down for the other half, and half a millimetre a setup too high.
        let rise = if setup * 2 <= setups { 3500 } else { -3500 };
        let (back, fore) = (format!("1.{:04}", 5000 + setup * 7), format!("1.{:04}", 4995 + setup as i64 * 7 - rise));
        crew.shoot([(back.as_str(), "20.00")]);
        if setup % 5 == 0 {
            crew.hear(Heard::Reading(side("1.1111", "8.00", &format!("M{setup}"))));
        }
        if setup == setups {
            crew.say(Command::Point { reading: Target::Next, point: name("BM-1") });
        }
        crew.shoot([(fore.as_str(), "20.10")]);
    }
    Job::of(crew)
}
