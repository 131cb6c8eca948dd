//! One event of every kind, every way of hearing, every command: what the goldens and the walks are made from.

use closerun::book::classes::{Basis, Class, Interval, Limit, Rate};
use closerun::book::event::{Body, Command, Event, LinkState, Origin, StruckPlace, Taken, Target, Verdict};
use closerun::book::finding::{FindingId, FindingKey, Place, Priority};
use closerun::book::moment::Moment;
use closerun::book::reading::{Heard, PointName, Reading, Refusal, Role, Status};
use closerun::book::sequence::Sequence;
use closerun::book::settings::{
    Booking, Corrections, Instrument, KnownPoint, Settings, StaffExpansion, Staffs, StaffsInUse,
};
use closerun::units::{Length, Measured, Unit};

use crate::beside;

/// 2026-03-14T08:00:00Z.
const MORNING_US: i64 = 1_773_475_200_000_000;

/// An event a second and a bit after the one before.
pub(crate) fn event(seq: u64, body: Body, raw: &[u8]) -> Event {
    let at = Moment::from_us(MORNING_US + seq as i64 * 1_000_001);
    Event { seq, at, simulated: false, body, raw: raw.to_vec() }
}

/// A reading as a level sends it, the commonest of all events.
pub(crate) fn reading(seq: u64) -> Event {
    let digits = format!("1.{:05}", (seq * 7919) % 100_000);
    let mut reading = Reading::of(metres(&digits));
    reading.sight = Some(metres("31.42"));
    reading.spread = Some(metres("0.00003"));
    reading.count = Some(3);
    reading.point = PointName::from_wire(&format!("TP{}", seq / 2));
    reading.sequence = Some(seq);
    let raw = format!("R,{seq},TP{},{digits},31.42,0.00003,3*5C\r\n", seq / 2);
    event(seq, Body::Heard { heard: Heard::Reading(reading) }, raw.as_bytes())
}

/// The event that stands in place `seq` of a day.
pub(crate) fn numbered(seq: u64) -> Event {
    if seq == 1 { opened() } else { reading(seq) }
}

/// So many readings behind an opening.
pub(crate) fn day(events: u64) -> Vec<Event> {
    (1..=events).map(numbered).collect()
}

/// The first event of a job.
pub(crate) fn opened() -> Event {
    event(1, Body::JobOpened { program: "0.1.0".into(), settings: Box::new(settings()) }, b"")
}

/// Every kind of event in one job, in an order of no meaning, with every variant of what they hold.
pub(crate) fn all() -> Vec<Event> {
    let mut events = vec![opened()];
    let mut push = |body: Body, raw: &[u8]| {
        let seq = events.len() as u64 + 1;
        events.push(Event { simulated: seq.is_multiple_of(2), ..event(seq, body, raw) });
    };
    push(Body::Resettled { settings: Box::new(plain_settings()) }, b"");
    push(
        Body::ListeningBegan {
            link: "serial /dev/ttyUSB0 9600 8N1".into(),
            format: "comma".into(),
            digest: "ab".repeat(32),
            text: "format = 1\nname = \"comma\"\n".into(),
        },
        b"",
    );
    for state in links() {
        push(Body::LinkChanged { state }, b"");
    }
    for (heard, raw) in heard() {
        push(Body::Heard { heard }, raw);
    }
    let origins = [Origin::Terminal, Origin::Tell, Origin::Start, Origin::Demo];
    for (at, command) in commands().into_iter().enumerate() {
        push(Body::Commanded { command, by: origins[at % origins.len()].clone() }, b"");
    }
    push(
        Body::Announced {
            key: key(),
            priority: Priority::Hold,
            fact: "sights out of balance by 4.22 m (limit 2.00 m, class building)".into(),
            todo: "put the forward staff 4.2 m farther out and shoot it again".into(),
        },
        b"",
    );
    push(Body::Withdrawn { key: key() }, b"");
    for verdict in [Verdict::Hold, Verdict::ClearToMove] {
        push(Body::VerdictGiven { run: 1, setup: 7, verdict, text: "balance 0.31 m of 2.00 m".into() }, b"");
    }
    push(Body::ClockStepped { by_ms: -3_600_000 }, b"");
    push(Body::RecordingResumed { cause: "the disk is full".into() }, b"");
    push(Body::ListeningEnded { reason: "told to stop".into() }, b"");
    for outcome in beside::outcomes() {
        let said = vec!["in words".to_owned(), "and more".to_owned()];
        push(Body::ActivityDone { activity: 3, outcome, said }, b"");
    }
    push(Body::Resettled { settings: Box::new(tested_settings()) }, b"");
    push(Body::MachineSlept { for_s: 725 }, b"");
    events
}

fn links() -> Vec<LinkState> {
    vec![
        LinkState::Open,
        LinkState::Quiet { for_s: 30 },
        LinkState::Babble { sample: "fe00e01f".into() },
        LinkState::Lost { why: "unplugged".into() },
        LinkState::Waiting { why: "/dev/ttyUSB0 is not there".into() },
        LinkState::Finished,
    ]
}

fn heard() -> Vec<(Heard, &'static [u8])> {
    let full = Reading {
        staff: metres("-1.2830"),
        sight: Some(metres("31.42")),
        spread: Some(metres("0.00003")),
        count: Some(3),
        role: Some(Role::Intermediate),
        point: PointName::from_wire("<b>\u{202e}=1+1\u{0}"),
        sequence: Some(u64::MAX),
        time: Some("2026-02-30 25:61".into()),
        temperature_c: Some(-0.1),
        unprotected: true,
    };
    let status = Status {
        battery_percent: Some(81.5),
        temperature_c: Some(0.1 + 0.2),
        tilt_arcmin: Some(-1e-7),
        other: vec![("firmware".into(), "\"3\\1\"".into())],
    };
    vec![
        (Heard::Reading(full), b"R,-1.2830\r\n"),
        (Heard::Reading(Reading::of(Measured::parse("4.2100", Unit::Foot).unwrap())), b"4.2100ft\n"),
        (Heard::Status(status), b"S,81.5\r\n"),
        (Heard::Status(Status::default()), b"S\r\n"),
        (Heard::Fault { code: "E321".into(), meaning: Some("too dark".into()) }, b"E321\r\n"),
        (Heard::Fault { code: "E9".into(), meaning: None }, b"E9\r\n"),
        (Heard::Echo, b"GET\r\n"),
        (Heard::Ignored { rule: "noise between records".into() }, b"\0\xff\xfe"),
        (Heard::Refused(Refusal { reason: "checksum 5C, computed 5D".into(), at_byte: 17 }), b"R,1.2\x8030*5C\r\n"),
        (Heard::Unfinished, b"R,1."),
        (Heard::Fragment, b"830\r\n"),
        (
            Heard::SetAside { reading: Reading::of(metres("0.91215")), why: "the record is in ft".into() },
            b"R,0.91215\r\n",
        ),
        (Heard::Repeated { of: 9 }, b"R,-1.2830\r\n"),
    ]
}

fn commands() -> Vec<Command> {
    let point = |name: &str| PointName::new(name).unwrap();
    let accept = |cause: &str, taken| Command::Accept {
        finding: "misclosure@point-1.9-BM-1".parse().unwrap(),
        cause: cause.to_owned(),
        taken,
    };
    let mut commands = vec![
        Command::Strike { reading: 3, place: StruckPlace::Free },
        Command::Strike { reading: 4, place: StruckPlace::Empty },
        Command::Restore { reading: 3 },
        Command::Repeat { reading: 4 },
        Command::Role { reading: Target::Next, role: Role::Fore, point: Some(point("TP 3")) },
        Command::Role { reading: Target::Number(2), role: Role::Back, point: None },
        Command::Point { reading: Target::Number(2), point: point("BM-1") },
        Command::Rename { from: point("TP3"), to: point("Säule Ω") },
        Command::Know { known: known("TP9", "52.3480", Unit::Metre, false) },
        Command::Note { reading: Some(2), text: "crane\nswung over".into() },
        Command::Note { reading: None, text: "rain".into() },
        Command::Break { reading: Some(5) },
        Command::Break { reading: None },
        Command::TakeOffer { reading: Some(6), point: Some(point("BM-1")) },
        Command::TakeOffer { reading: None, point: None },
        Command::EndRun { reading: None },
        Command::StartRun { point: point("BM-2"), after: Some(8) },
        Command::Acknowledge { key: key() },
        Command::KeyIn { reading: Box::new(Reading::of(metres("0.91215"))) },
        Command::Undo { event: 12 },
        accept("back and fore exchanged", Taken::Exchanged { readings: vec![7, 8] }),
        accept("a decimetre", Taken::Read { reading: 7, staff: metres("1.2345") }),
        accept("a repeat", Taken::Repeat { reading: 7 }),
        accept("against its repeats", Taken::Struck { reading: 7 }),
        accept("another mark", Taken::Point { reading: 7, point: point("BM-2") }),
        accept("digits turned", Taken::Known { known: known("BM-2", "52.3840", Unit::Metre, false) }),
        accept("staff zeros", Taken::Booked),
    ];
    commands.extend(beside::commands());
    commands
}

fn key() -> FindingKey {
    FindingKey { id: FindingId::Balance, place: Place::Setup { run: 1, setup: 7 } }
}

/// Settings with everything set.
fn settings() -> Settings {
    let limit = |value, basis| Some(Limit { value, basis });
    Settings {
        unit: Unit::Metre,
        also_units: vec![Unit::Foot],
        class: Class {
            id: "building".into(),
            title: "building work".into(),
            source: "common practice, no source".into(),
            section_mm_per_sqrt_km: Some(Rate { mm: 0.1 + 0.2, basis: Basis::Published }),
            loop_mm_per_sqrt_km: Some(Rate { mm: 12.0, basis: Basis::Secondary }),
            mm_per_sqrt_setup: Some(Rate { mm: 1.1e-3, basis: Basis::CommonPractice }),
            sight_max: limit(Length::from_mm(50_000), Basis::FromMemory),
            setup_imbalance_max: limit(Length::from_mm(2_000), Basis::Derived),
            sum_imbalance_max: limit(Length::from_mm(10_000), Basis::Own),
            line_of_sight_min: limit(Length::from_mm(300), Basis::Own),
            spread_max: limit(Length::from_um(500), Basis::Own),
            two_differences_max: limit(Length::from_um(700), Basis::Own),
            even_setups: Some(Basis::FromMemory),
            collimation_max: None,
            collimation_interval: None,
            sequence: Some("aBFFB".parse().unwrap()),
        },
        sequence: "aBBFFx3".parse().unwrap(),
        start: PointName::new("BM-1").ok(),
        known: vec![
            known("BM-1", "52.3480", Unit::Metre, false),
            known("BM-2", "171.75", Unit::Foot, true),
            known("BM-3", "171.749", Unit::SurveyFoot, false),
        ],
        staffs: Staffs { in_use: StaffsInUse::Pair, length: Length::from_mm(4_000), margin: Length::from_mm(100) },
        instrument: instrument(),
        corrections: Corrections {
            collimation_mm_per_m: Some(-0.012_345_678_901_234_567),
            refraction_k: Some(0.13),
            staff_scale_ppm: Some(1.0 / 3.0),
            staff_expansion: Some(StaffExpansion { ppm_per_c: 0.7, standard_c: 20.0, staff_c: Some(-4.5) }),
        },
        booking: Booking::RiseAndFall,
    }
}

/// Settings that ask for tests of the line of sight, of an instrument with a name.
fn tested_settings() -> Settings {
    let class = Class {
        collimation_max: Some(Rate { mm: 0.05, basis: Basis::FromMemory }),
        collimation_interval: Some(Interval { days: 7, basis: Basis::Own }),
        ..settings().class
    };
    Settings { class, instrument: Instrument { name: Some("L-2".into()), ..instrument() }, ..settings() }
}

/// Settings with nothing set that can be left out.
fn plain_settings() -> Settings {
    Settings {
        unit: Unit::Foot,
        also_units: Vec::new(),
        class: Class {
            section_mm_per_sqrt_km: None,
            loop_mm_per_sqrt_km: None,
            mm_per_sqrt_setup: None,
            sight_max: None,
            setup_imbalance_max: None,
            sum_imbalance_max: None,
            line_of_sight_min: None,
            spread_max: None,
            two_differences_max: None,
            even_setups: None,
            collimation_max: None,
            collimation_interval: None,
            sequence: None,
            ..settings().class
        },
        sequence: Sequence::BF,
        start: None,
        known: Vec::new(),
        staffs: Staffs { in_use: StaffsInUse::One, ..settings().staffs },
        instrument: instrument(),
        corrections: Corrections::default(),
        booking: Booking::HeightOfInstrument,
    }
}

fn instrument() -> Instrument {
    Instrument {
        sight_min: Length::from_mm(1_500),
        sight_max: Length::from_mm(100_000),
        name: None,
        reading_sd: Length::from_um(50),
    }
}

fn known(name: &str, digits: &str, unit: Unit, assumed: bool) -> KnownPoint {
    KnownPoint { name: PointName::new(name).unwrap(), elevation: Measured::parse(digits, unit).unwrap(), assumed }
}

fn metres(digits: &str) -> Measured {
    Measured::parse(digits, Unit::Metre).unwrap()
}
