//! Each finding is raised when its cause is there, not when it is just inside its limit, is told once, and goes with
//! its cause.

mod harness;

use closerun::book::classes;
use closerun::book::event::{Body, Command, LinkState, Target, Verdict};
use closerun::book::finding::{FindingId, FindingKey, Priority};
use closerun::book::reading::{Heard, Refusal, Role};
use closerun::book::sequence::Sequence;
use closerun::book::settings::{Settings, StaffExpansion, StaffsInUse};
use closerun::book::{Input, NextStaff, next_staff};
use closerun::units::{Measured, Unit};
use harness::crew::{Crew, announced, known, metres, name, reading, settings};

#[test]
fn a_balanced_setup_is_clear_to_move() {
    let mut crew = Crew::new(settings());
    let kept = crew.shoot([("1.5000", "20.00"), ("1.2000", "20.30")]);
    assert_eq!(crew.standing(), Vec::<String>::new());
    assert_eq!(crew.verdict(), Some(Verdict::ClearToMove));
    let Some(Body::VerdictGiven { text, .. }) = kept.last() else { panic!("{kept:?}") };
    assert_eq!(text, "setup 1, balance -0.30 m, sum -0.30 m of 10.00 m");
    assert_eq!(crew.elevation("TP1").as_deref(), Some("50.3000"));
}

#[test]
fn sights_out_of_balance_hold_and_let_go_when_the_foresight_is_shot_again() {
    let mut crew = Crew::new(settings());
    let kept = crew.shoot([("1.5000", "24.00"), ("1.2000", "20.00")]);
    let Some(Body::Announced { fact, todo, .. }) = kept.iter().find(|b| matches!(b, Body::Announced { .. })) else {
        panic!("{kept:?}")
    };
    assert_eq!(fact, "sights out of balance by 4.00 m (limit 2.00 m, building work, common practice, no source)");
    assert_eq!(todo, "put the forward staff 4.00 m farther out and shoot it again");
    assert_eq!(crew.verdict(), Some(Verdict::Hold));
    let strike = Command::Strike { reading: 2, place: Default::default() };
    assert!(crew.say(strike).iter().any(|body| matches!(body, Body::Withdrawn { .. })));
    assert_eq!(crew.book.next_role(), Role::Fore);
    crew.shoot([("1.1500", "24.10")]);
    assert_eq!(crew.verdict(), Some(Verdict::ClearToMove));
    assert_eq!(crew.elevation("TP1").as_deref(), Some("50.3500"));
}

#[test]
fn a_value_equal_to_its_limit_is_inside() {
    let mut crew = Crew::new(settings());
    crew.shoot([("1.5000", "22.00"), ("1.2000", "20.00")]);
    assert!(!crew.stands(FindingId::Balance));
    crew.shoot([("1.5001", "22.01"), ("1.2001", "20.00")]);
    assert!(crew.stands(FindingId::Balance));
}

#[test]
fn an_acknowledged_hold_holds_nobody_and_stays_in_the_record() {
    let mut crew = Crew::new(settings());
    crew.shoot([("1.5000", "24.00"), ("1.2000", "20.00")]);
    crew.say(Command::Acknowledge { key: "balance@setup-1.1".parse().unwrap() });
    assert_eq!(crew.verdict(), Some(Verdict::ClearToMove));
    assert!(crew.stands(FindingId::Balance));
}

#[test]
fn the_sum_of_imbalances_is_told_once_while_it_hovers_about_its_limit() {
    let mut crew = Crew::new(settings());
    let mut kept = Vec::new();
    // Ten times 1.05 m goes over 10 m; then the sum moves up and down across the limit two hundred times.
    for turn in 0..10 {
        kept.extend(crew.shoot([(if turn % 2 == 0 { "1.5000" } else { "1.5100" }, "21.05"), ("1.2000", "20.00")]));
    }
    assert_eq!(announced(&kept, FindingId::BalanceSum), 1);
    for turn in 0..200 {
        let (back, fore) = if turn % 2 == 0 { ("20.00", "20.60") } else { ("20.60", "20.00") };
        kept.extend(crew.shoot([("1.5000", back), ("1.2000", fore)]));
    }
    assert_eq!(announced(&kept, FindingId::BalanceSum), 1);
    assert!(crew.stands(FindingId::BalanceSum));
    kept.extend(crew.shoot([("1.5000", "19.00"), ("1.2000", "20.90")]));
    assert!(!crew.stands(FindingId::BalanceSum));
}

#[test]
fn the_next_staff_brings_setup_and_section_back() {
    let mut crew = Crew::new(settings());
    crew.shoot([("1.5000", "21.60"), ("1.2000", "20.00"), ("1.5100", "20.00")]);
    let next = next_staff(&crew.book);
    // Half of the 2 m limit is used to work the 1.60 m off; setup 18..22, section -8.4..31.6.
    assert_eq!(
        next,
        Some(NextStaff::At { role: Role::Fore, best: metres("21"), from: metres("18"), to: metres("22") })
    );
}

#[test]
fn long_and_short_sights() {
    let mut crew = Crew::new(settings());
    crew.shoot([("1.5000", "40.00"), ("1.2000", "40.01")]);
    assert_eq!(crew.priority("sight-long@reading-2"), Some(Priority::Hold));
    assert_eq!(crew.priority("sight-long@reading-1"), None);
    crew.shoot([("1.5003", "1.49"), ("1.2000", "1.50")]);
    assert_eq!(crew.priority("sight-short@reading-3"), Some(Priority::Warn));
    assert_eq!(crew.priority("sight-short@reading-4"), None);
}

#[test]
fn readings_off_the_staff_and_near_its_ends() {
    let mut crew = Crew::new(settings());
    crew.shoot([("4.0001", "20.00"), ("3.9801", "20.00"), ("0.0199", "20.00"), ("3.9800", "20.00")]);
    assert_eq!(crew.priority("reading-off-staff@reading-1"), Some(Priority::Hold));
    assert_eq!(crew.priority("reading-off-staff@reading-2"), Some(Priority::Warn));
    assert_eq!(crew.priority("reading-off-staff@reading-3"), Some(Priority::Warn));
    assert_eq!(crew.priority("reading-off-staff@reading-4"), None);
}

#[test]
fn a_low_line_of_sight_is_warned_of() {
    let mut crew = Crew::new(settings());
    crew.shoot([("0.2999", "20.00"), ("0.3000", "20.00"), ("-0.2500", "20.00")]);
    assert_eq!(crew.priority("line-low@reading-1"), Some(Priority::Warn));
    assert_eq!((crew.priority("line-low@reading-2"), crew.priority("line-low@reading-3")), (None, None));
}

#[test]
fn a_stated_deviation_and_a_range_of_repeats() {
    let mut crew = Crew::new(settings());
    let mut shaky = reading("1.5000", "20.00");
    shaky.spread = Some(Measured::parse("0.00051", Unit::Metre).unwrap());
    crew.hear(Heard::Reading(shaky));
    assert_eq!(crew.priority("spread@reading-1"), Some(Priority::Hold));

    let mut crew = Crew::new(settings());
    crew.shoot([("1.5000", "20.00"), ("1.2000", "20.00"), ("1.2011", "20.00")]);
    crew.say(Command::Repeat { reading: 3 });
    assert_eq!(crew.priority("spread@setup-1.1"), Some(Priority::Hold));
}

#[test]
fn a_double_shot_is_booked_by_the_sequence_and_one_command_makes_it_a_repeat() {
    let mut crew = Crew::new(settings());
    crew.shoot([("1.5000", "20.00"), ("1.5004", "20.02")]);
    assert_eq!(crew.priority("same-sight@reading-2"), Some(Priority::Hold));
    assert_eq!(crew.elevation("TP1").as_deref(), Some("49.9996"));
    crew.say(Command::Repeat { reading: 2 });
    assert_eq!(crew.standing(), Vec::<String>::new());
    assert_eq!(crew.book.next_role(), Role::Fore);
    crew.shoot([("1.2000", "20.00")]);
    assert_eq!(crew.elevation("TP1").as_deref(), Some("50.3002"));
    assert_eq!(crew.verdict(), Some(Verdict::ClearToMove));
}

#[test]
fn two_height_differences_that_disagree() {
    let mut settings = settings();
    settings.sequence = "BFFB".parse().unwrap();
    let mut crew = Crew::new(settings);
    crew.shoot([("1.5000", "20.00"), ("1.2000", "20.00"), ("1.2011", "20.00"), ("1.5000", "20.00")]);
    assert_eq!(crew.priority("two-differences@setup-1.1"), Some(Priority::Hold));
    crew.say(Command::Break { reading: None });
    crew.shoot([("1.4000", "20.00"), ("1.1000", "20.00"), ("1.1010", "20.00"), ("1.4000", "20.00")]);
    assert_eq!(crew.standing(), Vec::<String>::new());
    assert_eq!(crew.elevation("TP1").as_deref(), Some("50.2995"));
}

#[test]
fn a_class_that_asks_for_another_sequence_says_so_once() {
    let class = classes::find("fgcc1984-second-order-class-I").unwrap();
    let asked = class.sequence.expect("the class asks for a sequence");
    for (observed, told) in [(asked, 0), (Sequence::BF, 1)] {
        let mut crew = Crew::new(Settings { class: class.clone(), sequence: observed, ..settings() });
        let mut kept = Vec::new();
        for _ in 0..3 {
            kept.extend(crew.shoot([
                ("1.50000", "20.00"),
                ("1.20000", "20.00"),
                ("1.20003", "20.00"),
                ("1.50003", "20.00"),
            ]));
        }
        assert_eq!(announced(&kept, FindingId::Sequence), told, "{observed}");
    }
    let mut crew = Crew::new(Settings { class: class.clone(), ..settings() });
    let kept = crew.shoot([("1.50000", "20.00")]);
    let fact = kept.iter().find_map(|body| match body {
        Body::Announced { key, fact, .. } if key.id == FindingId::Sequence => Some(fact.clone()),
        _ => None,
    });
    assert_eq!(fact, Some(format!("the setups are observed BF, {} asks for BFFB", class.title)));
}

#[test]
fn a_correction_that_cannot_be_made_is_told_once_for_setups_in_a_row() {
    let mut settings = settings();
    settings.corrections.collimation_mm_per_m = Some(0.05);
    settings.corrections.staff_expansion = Some(StaffExpansion { ppm_per_c: 23.0, standard_c: 20.0, staff_c: None });
    let told = |bodies: &[Body]| -> Vec<String> {
        let uncorrected = |key: &FindingKey| key.id == FindingId::Uncorrected;
        let said = |body: &Body| match body {
            Body::Announced { key, priority, fact, todo } if uncorrected(key) => {
                Some(format!("{} {key}: {fact}; {todo}", priority.word()))
            }
            Body::Withdrawn { key } if uncorrected(key) => Some(format!("withdrawn {key}")),
            _ => None,
        };
        bodies.iter().filter_map(said).collect()
    };
    let warm = |sight: &str| {
        let mut reading = reading("1.5000", sight);
        reading.temperature_c = Some(27.0);
        Heard::Reading(reading)
    };
    let mut crew = Crew::new(settings);
    let mut kept = crew.hear(warm("20.00"));
    kept.extend(crew.hear(warm("20.00")));
    assert_eq!(told(&kept), [""; 0]);
    for _ in 0..6 {
        kept.extend(crew.hear(warm("")));
    }
    let no_sight = "warn uncorrected@setup-1.2: collimation at reading 3 not applied: the reading has no sight length; \
                    let the instrument send sight lengths, or turn the correction off; \
                    heights without it are marked in the book";
    assert_eq!(told(&kept), [no_sight]);
    let mut kept = crew.hear(warm("20.00"));
    kept.extend(crew.hear(warm("20.00")));
    assert_eq!(told(&kept), [""; 0]);
    let cold = "warn uncorrected@setup-1.6: staff temperature at reading 11 not applied: the temperature of the staff \
                is not known; give the temperature of the staff in the settings, or turn the correction off; heights \
                without it are marked in the book";
    assert_eq!(told(&crew.shoot([("1.5000", "20.00"), ("1.5000", "20.00")])), [cold]);
}

#[test]
fn a_strike_long_after_leaves_a_gap_and_says_so() {
    let mut crew = Crew::new(settings());
    crew.shoot([("1.5000", "20.00"), ("1.2000", "20.00"), ("1.6000", "20.00"), ("1.1000", "20.00")]);
    crew.say(Command::Strike { reading: 2, place: Default::default() });
    assert_eq!(crew.priority("setup-gap@setup-1.1"), Some(Priority::Hold));
    assert_eq!(crew.elevation("TP2"), None);
    crew.say(Command::Restore { reading: 2 });
    assert_eq!(crew.standing(), Vec::<String>::new());
    assert_eq!(crew.elevation("TP2").as_deref(), Some("50.8000"));
}

#[test]
fn a_return_from_the_same_instrument_height_is_not_independent() {
    let mut crew = Crew::new(settings());
    crew.shoot([("1.5000", "20.00"), ("1.2000", "20.00")]);
    crew.say(Command::Point { reading: Target::Number(2), point: name("A") });
    crew.say(Command::EndRun { reading: None });
    crew.shoot([("1.2009", "20.00")]);
    assert_eq!(crew.priority("height-unchanged@setup-2.1"), Some(Priority::Hold));
    crew.say(Command::Break { reading: None });
    crew.shoot([("1.2511", "20.00")]);
    assert_eq!(crew.standing(), Vec::<String>::new());
}

#[test]
fn a_pair_of_staffs_wants_an_even_number_of_setups() {
    let mut settings = settings();
    settings.staffs.in_use = StaffsInUse::Pair;
    settings.known.push(known("BM-2", "50.3000"));
    let mut crew = Crew::new(settings);
    crew.shoot([("1.5000", "20.00")]);
    crew.say(Command::Point { reading: Target::Next, point: name("BM-2") });
    crew.shoot([("1.2000", "20.00")]);
    assert_eq!(crew.standing(), ["staff-parity@point-1.1-BM-2"]);
}

#[test]
fn a_misclosure_is_warned_of_from_seven_tenths_and_holds_when_over() {
    // Two setups of 80 m in all: 12 mm * sqrt(0.08) = 3.39 mm by length, 1.41 mm by setups, 1.70 mm by noise.
    for (back, priority) in [
        ("1.1977", None),
        ("1.1976", Some(Priority::Warn)),
        ("1.2033", Some(Priority::Warn)),
        ("1.2034", Some(Priority::Hold)),
    ] {
        let mut crew = Crew::new(settings());
        crew.shoot([("1.5000", "20.00"), ("1.2000", "20.00"), (back, "20.00")]);
        crew.say(Command::Point { reading: Target::Next, point: name("BM-1") });
        crew.shoot([("1.5000", "20.00")]);
        // Misclosures of -2.3, -2.4, +3.3 and +3.4 mm; 70 % of 3.394 mm is 2.376 mm.
        assert_eq!(crew.priority("misclosure@point-1.2-BM-1"), priority, "{back}");
    }
}

#[test]
fn a_foresight_that_falls_on_a_known_point_is_offered_and_taken_by_a_person() {
    let mut crew = Crew::new(settings());
    crew.shoot([("1.5000", "20.00"), ("1.2000", "20.00"), ("1.2495", "20.00"), ("1.5500", "20.00")]);
    assert_eq!(crew.standing(), ["offer@point-1.2-BM-1"]);
    assert_eq!(crew.book.runs()[0].closures().count(), 0);
    crew.say(Command::TakeOffer { reading: None, point: None });
    assert_eq!(crew.standing(), Vec::<String>::new());
    let closure = crew.book.runs()[0].closures().next().unwrap();
    assert_eq!(closure.misclosure, metres("-0.0005"));
    assert_eq!((closure.setups, closure.length), (2, Some(metres("80"))));
}

#[test]
fn out_and_back_in_two_runs_closes_over_both_ways() {
    let mut crew = Crew::new(settings());
    crew.shoot([("1.5000", "20.00")]);
    crew.say(Command::Point { reading: Target::Next, point: name("A") });
    crew.shoot([("1.2000", "20.00")]);
    crew.say(Command::EndRun { reading: None });
    crew.shoot([("1.2500", "20.00")]);
    crew.say(Command::Point { reading: Target::Next, point: name("BM-1") });
    crew.shoot([("1.5520", "20.00")]);
    let closure = crew.book.runs()[1].closures().next().unwrap();
    assert_eq!(closure.misclosure, metres("-0.0020"));
    assert_eq!((closure.setups, closure.length), (2, Some(metres("80"))));
    // 12 mm * sqrt(0.080) = 3.4 mm over both ways; over the way back alone it would have been 2.4 mm.
    assert_eq!(crew.priority("misclosure@point-2.1-BM-1"), None);
}

#[test]
fn a_known_point_that_moved_is_told_from_a_bad_run() {
    let mut settings = settings();
    settings.known.extend([known("BM-2", "50.3000"), known("BM-3", "50.6000")]);
    let mut crew = Crew::new(settings);
    for (back, fore, point) in [("1.5000", "1.2080", "BM-2"), ("1.5000", "1.1920", "BM-3")] {
        crew.shoot([(back, "20.00")]);
        crew.say(Command::Point { reading: Target::Next, point: name(point) });
        crew.shoot([(fore, "20.00")]);
    }
    assert_eq!(crew.priority("point-moved@point-1.1-BM-2"), Some(Priority::Hold));
    assert_eq!(crew.priority("misclosure@point-1.2-BM-3"), None);
}

#[test]
fn an_outlook_is_given_from_the_noise_of_four_setups() {
    let mut settings = settings();
    settings.sequence = "BFFB".parse().unwrap();
    settings.class.two_differences_max = None;
    settings.class.spread_max = None;
    let mut crew = Crew::new(settings);
    let shoot = |crew: &mut Crew, apart: &str| {
        let last = format!("1.5{apart}");
        crew.shoot([("1.5000", "5.00"), ("1.2000", "5.00"), ("1.2000", "5.00"), (last.as_str(), "5.00")]);
    };
    for _ in 0..3 {
        shoot(&mut crew, "080");
    }
    assert!(!crew.stands(FindingId::Outlook));
    shoot(&mut crew, "080");
    // d = 8 mm: s = 4 mm a setup, 0.674 * 4 * sqrt(4) = 5.4 mm; allowed 2 mm by setups, 2.4 mm by length.
    assert_eq!(crew.standing(), ["outlook@run-1"]);
}

#[test]
fn damaged_records_are_one_finding_a_burst_and_a_good_record_ends_it() {
    let mut crew = Crew::new(settings());
    let refused = || Heard::Refused(Refusal { reason: "checksum 5C, computed 5D".to_owned(), at_byte: 21 });
    let mut kept = crew.hear(refused());
    kept.extend(crew.hear(refused()));
    assert_eq!(announced(&kept, FindingId::RecordRefused), 1);
    let Some(Body::Announced { fact, .. }) = kept.iter().find(|b| matches!(b, Body::Announced { .. })) else {
        panic!()
    };
    assert_eq!(fact, "record refused: checksum 5C, computed 5D, at byte 21; the bytes are kept as event 2");
    crew.shoot([("1.5000", "20.00")]);
    assert_eq!(crew.book.records().refused, 2);
    assert_eq!(announced(&crew.hear(refused()), FindingId::RecordRefused), 1);
}

#[test]
fn a_record_sent_twice_is_used_once_and_kept_twice() {
    let mut crew = Crew::new(settings());
    let shot = Heard::Reading(reading("1.5000", "20.00"));
    crew.hear(shot.clone());
    let kept = crew.hear_after(1_900_000, shot.clone());
    assert_eq!(kept[0], Body::Heard { heard: Heard::Repeated { of: 2 } });
    assert!(crew.stands(FindingId::RecordRepeated));
    assert_eq!(crew.book.entries().len(), 1);
    crew.hear_after(2_100_000, shot);
    assert_eq!(crew.book.entries().len(), 2, "a shot that took its time is a shot of its own");
}

#[test]
fn a_numbered_record_is_known_again_however_late() {
    let mut crew = Crew::new(settings());
    let mut shot = reading("1.5000", "20.00");
    shot.sequence = Some(41);
    crew.hear(Heard::Reading(shot.clone()));
    crew.hear_after(60_000_000, Heard::Reading(shot));
    assert_eq!(crew.book.entries().len(), 1);
}

#[test]
fn the_link_is_told_lost_once_and_back() {
    let mut crew = Crew::new(settings());
    let lost = |why: &str| Input::Link(LinkState::Lost { why: why.to_owned() });
    crew.take(Input::Link(LinkState::Open)).unwrap();
    let mut kept = crew.take(lost("the device went away")).unwrap();
    kept.extend(crew.take(Input::Link(LinkState::Waiting { why: "no such port".to_owned() })).unwrap());
    assert_eq!(announced(&kept, FindingId::LinkLost), 1);
    crew.take(Input::Link(LinkState::Open)).unwrap();
    assert_eq!(crew.standing(), Vec::<String>::new());
    crew.take(Input::Link(LinkState::Quiet { for_s: 120 })).unwrap();
    assert!(crew.stands(FindingId::LinkQuiet));
}

#[test]
fn a_record_in_feet_does_not_enter_a_metre_job_unless_declared() {
    let feet = || Heard::Reading(reading_in("4.210", Unit::Foot));
    let mut crew = Crew::new(settings());
    crew.hear(feet());
    assert_eq!(crew.book.entries().len(), 0);
    assert!(crew.stands(FindingId::UnitDoubt));

    let mut declared = settings();
    declared.also_units.push(Unit::Foot);
    let mut crew = Crew::new(declared);
    crew.hear(feet());
    assert_eq!(crew.book.entries().len(), 1);
}

#[test]
fn a_number_that_would_fit_in_feet_raises_doubt() {
    let mut crew = Crew::new(settings());
    crew.shoot([("5.2100", "60.00")]);
    assert_eq!(crew.priority("unit-doubt@reading-1"), Some(Priority::Hold));
}

#[test]
fn a_rise_that_would_fit_in_the_other_unit_raises_doubt() {
    let mut settings = settings();
    settings.known.push(known("BM-2", "50.9144"));
    let mut crew = Crew::new(settings);
    // 3.000 ft read as if it were metres.
    crew.shoot([("3.9000", "20.00")]);
    crew.say(Command::Point { reading: Target::Next, point: name("BM-2") });
    crew.shoot([("0.9000", "20.00")]);
    assert!(crew.stands(FindingId::UnitDoubt));
}

fn reading_in(staff: &str, unit: Unit) -> closerun::book::reading::Reading {
    closerun::book::reading::Reading::of(Measured::parse(staff, unit).unwrap())
}
