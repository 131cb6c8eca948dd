//! What must hold for any readings and any commands: the folded book is the live one (asserted by the harness at every
//! step), and so is the one whose readings are all placed anew; a strike and its restoring cancel; the order of commands
//! about different readings does not matter; the page check is an equality; metres and feet come to the same heights.

mod harness;

use closerun::book::event::{Command, Taken, Target};
use closerun::book::reading::{Heard, Reading, Role};
use closerun::book::{Book, SpotState};
use closerun::units::{Length, Measured, Unit};
use harness::crew::{Crew, known, name, settings};
use proptest::prelude::*;

/// A staff reading in 0.01 mm and a sight length in centimetres.
fn shots() -> impl Strategy<Value = Vec<(i64, i64)>> {
    prop::collection::vec((2_000i64..390_000, 200i64..4_500), 1..24)
}

fn reading(staff: i64, sight: i64) -> Reading {
    let length = |units: i64, tenth_nm: i64, decimals| {
        Measured::from_length(Length::from_tenth_nm(units * tenth_nm), Unit::Metre, decimals).unwrap()
    };
    let mut reading = Reading::of(length(staff, 100_000, 5));
    reading.sight = Some(length(sight, 100_000_000, 2));
    reading
}

fn sequences() -> impl Strategy<Value = String> {
    prop::sample::select(vec!["BF", "aBF", "BBFF", "BFFB", "aBFFB", "BFx3"]).prop_map(str::to_owned)
}

/// So many kinds of command there are below.
const KINDS: u8 = 13;

/// A command about one reading, as numbers: which kind, which reading, which name.
fn command(kind: u8, reading: u32, point: u8) -> Command {
    let point = name(&format!("P{point}"));
    match kind {
        0 => Command::Strike { reading, place: Default::default() },
        1 => Command::Repeat { reading },
        2 => Command::Role { reading: Target::Number(reading), role: Role::Intermediate, point: Some(point) },
        3 => Command::Role { reading: Target::Number(reading), role: Role::Back, point: None },
        4 => Command::Role { reading: Target::Number(reading), role: Role::Fore, point: None },
        5 => Command::Point { reading: Target::Number(reading), point },
        6 => Command::Break { reading: Some(reading) },
        7 => Command::EndRun { reading: Some(reading) },
        8 => accept(Taken::Exchanged { readings: vec![reading, reading + 1] }),
        9 => accept(Taken::Read { reading, staff: Measured::parse("1.23456", Unit::Metre).unwrap() }),
        10 => accept(Taken::Repeat { reading }),
        11 => accept(Taken::Point { reading, point }),
        _ => Command::Note { reading: Some(reading), text: "seen".to_owned() },
    }
}

/// An accepted explanation; what it explains is no matter to the folding.
fn accept(taken: Taken) -> Command {
    Command::Accept { finding: "misclosure@point-1.1-P1".parse().unwrap(), cause: "so".to_owned(), taken }
}

fn crew(sequence: &str, shots: &[(i64, i64)]) -> Crew {
    let mut settings = settings();
    settings.sequence = sequence.parse().unwrap();
    let mut crew = Crew::new(settings);
    for &(staff, sight) in shots {
        crew.hear(Heard::Reading(reading(staff, sight)));
    }
    crew
}

/// What a record may say of its reading besides the numbers: nothing, a role, a point, or both.
fn named() -> impl Strategy<Value = (Option<Role>, Option<&'static str>)> {
    let role = prop::sample::select(vec![None, None, Some(Role::Back), Some(Role::Fore), Some(Role::Intermediate)]);
    let point = prop::sample::select(vec![None, None, None, Some("BM-1"), Some("BM-2"), Some("P1"), Some("TP2")]);
    (role, point)
}

/// Runs, places and findings: everything that a person would call the book.
fn content(book: &Book) -> String {
    let spots: Vec<_> = (1..=book.entries().len() as u32).map(|number| book.spot(number)).collect();
    // A finding just inside its limit stays or not by what was said before: that is its purpose.
    let findings: Vec<_> = book.findings().filter(|finding| finding.over).collect();
    let runs: Vec<_> = book
        .runs()
        .iter()
        .map(|run| {
            let setups: Vec<_> =
                run.setups.iter().map(|s| (&s.back_point, &s.fore_point, &s.reduced, &s.sides)).collect();
            format!("{:?} {:?} {:?} {setups:?}", run.start, run.chains, run.ended)
        })
        .collect();
    format!("{spots:?}\n{findings:?}\n{runs:?}")
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

    #[test]
    fn any_commands_at_any_time_fold_to_the_live_book(
        sequence in sequences(),
        shots in shots(),
        said in prop::collection::vec((0u8..KINDS, 1u32..24, 0u8..5, 0usize..24), 0..12),
    ) {
        let mut crew = crew(&sequence, &[]);
        for (index, &(staff, sight)) in shots.iter().enumerate() {
            crew.hear(Heard::Reading(reading(staff, sight)));
            for &(kind, about, point, when) in &said {
                if when == index {
                    // Refusals are as good as commands here: they must leave the book as it was.
                    let input = closerun::book::Input::Command {
                        command: command(kind, about, point),
                        by: closerun::book::event::Origin::Tell,
                    };
                    let before = crew.book.clone();
                    if crew.take(input).is_err() {
                        prop_assert_eq!(&before, &crew.book);
                    }
                }
            }
        }
    }

    #[test]
    fn a_book_kept_reading_by_reading_is_the_one_placed_all_at_once(
        sequence in sequences(),
        shots in prop::collection::vec(((2_000i64..390_000, 200i64..4_500), named()), 1..24),
    ) {
        let mut settings = settings();
        settings.sequence = sequence.parse().unwrap();
        settings.known.push(known("BM-2", "50.2000"));
        let mut crew = Crew::new(settings);
        for ((staff, sight), (role, point)) in shots {
            let mut reading = reading(staff, sight);
            reading.role = role;
            reading.point = point.map(name);
            crew.hear(Heard::Reading(reading));
            prop_assert_eq!(content(&crew.book), content(&crew.placed_anew()));
        }
    }

    #[test]
    fn a_strike_and_its_restoring_cancel(sequence in sequences(), shots in shots(), pick in any::<prop::sample::Index>()) {
        let mut crew = crew(&sequence, &shots);
        let before = content(&crew.book);
        let reading = pick.index(shots.len()) as u32 + 1;
        crew.say(command(0, reading, 0));
        let spot = crew.book.spot(reading).unwrap();
        prop_assert_eq!(spot.state, SpotState::Struck);
        crew.say(Command::Restore { reading });
        prop_assert_eq!(content(&crew.book), before);
    }

    #[test]
    fn a_command_and_its_undo_cancel(
        sequence in sequences(), shots in shots(), kind in 0u8..KINDS, pick in any::<prop::sample::Index>(),
    ) {
        let mut crew = crew(&sequence, &shots);
        let before = content(&crew.book);
        let reading = pick.index(shots.len()) as u32 + 1;
        let input = closerun::book::Input::Command {
            command: command(kind, reading, 1),
            by: closerun::book::event::Origin::Tell,
        };
        if crew.take(input).is_ok() {
            let event = crew.book.amendments().latest().unwrap().event;
            crew.say(Command::Undo { event });
            prop_assert_eq!(content(&crew.book), before);
        }
    }

    #[test]
    fn commands_about_different_readings_come_in_any_order(
        sequence in sequences(), shots in shots(), kinds in prop::collection::vec(2u8..KINDS, 4),
    ) {
        prop_assume!(shots.len() >= 8);
        let said: Vec<Command> = kinds
            .iter()
            .enumerate()
            // One about each pair of readings, so that no two are about the same.
            .map(|(index, &kind)| command(kind, 2 * index as u32 + 1, index as u8))
            .filter(|said| !matches!(said, Command::Break { .. } | Command::EndRun { .. }))
            .collect();
        let mut forward = crew(&sequence, &shots);
        let mut backward = crew(&sequence, &shots);
        for one in &said {
            forward.say(one.clone());
        }
        for one in said.iter().rev() {
            backward.say(one.clone());
        }
        prop_assert_eq!(content(&forward.book), content(&backward.book));
    }

    #[test]
    fn the_page_check_is_an_equality(sequence in sequences(), shots in shots()) {
        let crew = crew(&sequence, &shots);
        for run in crew.book.runs() {
            let whole: Vec<_> = run.setups.iter().filter(|setup| setup.reduced.rise().is_some()).collect();
            let back: Length = whole.iter().filter_map(|setup| setup.reduced.back).sum();
            let fore: Length = whole.iter().filter_map(|setup| setup.reduced.fore).sum();
            if let (Some(last), Some(end)) = (whole.last(), run.last_elevation()) {
                let start = run.elevation(run.setups[0].before.level).unwrap();
                prop_assert_eq!(last.before.level.chain, 0);
                prop_assert_eq!(back - fore, end - start);
            }
        }
    }

    #[test]
    fn metres_and_feet_come_to_the_same_heights(shots in prop::collection::vec(100i64..12_000, 2..16)) {
        // Staff readings in whole thousandths of a foot, and the same lengths in metres: 0.001 ft = 0.3048 mm.
        let mut in_feet = settings();
        in_feet.unit = Unit::Foot;
        in_feet.also_units = vec![Unit::Metre];
        let (mut feet, mut metres) = (Crew::new(in_feet), Crew::new(settings()));
        for &thousandths in &shots {
            let staff = Length::from_tenth_nm(thousandths * 3_048_000);
            feet.hear(Heard::Reading(Reading::of(Measured::from_length(staff, Unit::Foot, 3).unwrap())));
            metres.hear(Heard::Reading(Reading::of(Measured::from_length(staff, Unit::Metre, 7).unwrap())));
        }
        let heights = |crew: &Crew| crew.book.runs().iter().map(|run| run.last_elevation()).collect::<Vec<_>>();
        prop_assert_eq!(heights(&feet), heights(&metres));
    }
}
