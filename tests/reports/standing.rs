//! What a field book says of how its runs stand: closed, open, closed by a later run, broken by a gap, and a page check
//! that does not hold.

use closerun::book::classes;
use closerun::book::event::{Command, Target};
use closerun::book::reading::{Heard, Reading};
use closerun::book::settings::{KnownPoint, Settings};
use closerun::report::document::tree::{Closes, Figure, FindingState, Line, RunStanding, Section, SectionPoint, State};
use closerun::report::document::{Distribution, FieldBook, page_check};
use closerun::report::text::{self, Layout};
use closerun::report::{csv, json};
use closerun::units::{Length, Measured, Unit};

use crate::harness::crew::{Crew, known, metres, name, reading, settings};
use crate::samples::{Job, day, side};

fn document(crew: Crew, by: Distribution) -> FieldBook {
    let job = Job::of(crew);
    let mut options = job.options();
    options.distribution = by;
    job.document(options)
}

fn print(book: &FieldBook) -> String {
    text::print(book, Layout::default())
}

/// A text without its line breaks.
fn words(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn strike(reading: u32) -> Command {
    Command::Strike { reading, place: Default::default() }
}

/// One setup to a named point.
fn setup_to(crew: &mut Crew, point: &str, back: (&str, &str), fore: (&str, &str)) {
    crew.shoot([back]);
    crew.say(Command::Point { reading: Target::Next, point: name(point) });
    crew.shoot([fore]);
}

/// Points of a section with their corrections in millimetres and adjusted elevations.
fn shared(section: &Section) -> Vec<(&str, &str, &str)> {
    let mut rows = Vec::new();
    for SectionPoint { point, correction, adjusted, .. } in &section.points {
        rows.push((point.as_str(), correction.shown.as_str(), adjusted.shown.as_str()));
    }
    rows
}

fn with_bm2() -> Settings {
    let mut settings = settings();
    settings.known.push(known("BM-2", "50.6000"));
    settings
}

#[test]
fn each_section_between_known_points_is_shared_out_by_itself() {
    let mut crew = Crew::new(with_bm2());
    crew.shoot([("1.5000", "10.00"), ("1.2000", "10.00")]);
    // BM-2 is reached 0.4 mm too high over 20 m and 60 m; from there BM-1 is reached 0.2 mm too low.
    setup_to(&mut crew, "BM-2", ("1.5004", "30.00"), ("1.2000", "30.00"));
    crew.shoot([("1.2000", "20.00"), ("1.5003", "20.00")]);
    setup_to(&mut crew, "BM-1", ("1.2000", "20.00"), ("1.5003", "20.00"));
    crew.say(Command::EndRun { reading: None });
    let book = document(crew, Distribution::ByLength);
    let [first, second] = &book.runs[0].sections[..] else { panic!("{:?}", book.runs[0].sections) };
    // 20 of 80 m, then all of it.
    assert_eq!(shared(first), [("BM-1", "0.0", "50.0000"), ("TP1", "-0.1", "50.2999"), ("BM-2", "-0.4", "50.6000"),]);
    assert_eq!((first.verdict, first.misclosure.shown.as_str()), (Some(Closes::Closes), "+0.4"));
    // From -0.4 mm at BM-2 to +0.2 mm at BM-1: half way is -0.1 mm.
    assert_eq!(shared(second), [("BM-2", "-0.4", "50.6000"), ("TP3", "-0.1", "50.3000"), ("BM-1", "+0.2", "50.0000"),]);
    assert_eq!(second.misclosure.exact, metres("-0.0006"));
    assert_eq!(book.runs[0].standing, RunStanding::Closes);
}

#[test]
fn by_setups_each_setup_takes_the_same() {
    let mut crew = Crew::new(with_bm2());
    crew.shoot([("1.5000", "10.00"), ("1.2000", "10.00")]);
    setup_to(&mut crew, "BM-2", ("1.5004", "30.00"), ("1.2000", "30.00"));
    let book = document(crew, Distribution::BySetups);
    assert_eq!(
        shared(&book.runs[0].sections[0]),
        [("BM-1", "0.0", "50.0000"), ("TP1", "-0.2", "50.2998"), ("BM-2", "-0.4", "50.6000"),]
    );
}

#[test]
fn without_all_sight_lengths_it_is_shared_out_by_setups_and_says_so() {
    let mut crew = Crew::new(with_bm2());
    crew.shoot([("1.5000", ""), ("1.2000", "10.00")]);
    setup_to(&mut crew, "BM-2", ("1.5004", "30.00"), ("1.2000", "30.00"));
    let book = document(crew, Distribution::ByLength);
    let section = &book.runs[0].sections[0];
    assert_eq!((section.by, section.length.is_none()), (Distribution::BySetups, true));
    assert_eq!(section.points[1].correction.shown, "-0.2");
    assert!(print(&book).contains("by setups, because not every setup has sight lengths"));
}

#[test]
fn the_way_out_and_the_way_back_are_one_line() {
    let mut crew = Crew::new(settings());
    setup_to(&mut crew, "A", ("1.5000", "20.00"), ("1.2000", "20.00"));
    crew.say(Command::EndRun { reading: None });
    // Back from a new height, 0.8 mm too high over 80 m in all.
    setup_to(&mut crew, "BM-1", ("1.3008", "20.00"), ("1.6000", "20.00"));
    let book = document(crew, Distribution::ByLength);
    assert_eq!(book.runs[1].sections.len(), 1);
    let section = &book.runs[1].sections[0];
    assert_eq!(
        shared(section),
        [("BM-1", "0.0", "50.0000"), ("A", "-0.4", "50.2996"), ("A", "-0.4", "50.2996"), ("BM-1", "-0.8", "50.0000"),]
    );
    assert_eq!(section.remarks, ["out in run 1, back in run 2: one line"]);
    assert_eq!(book.runs[0].standing, RunStanding::Closes);
    assert_eq!(book.runs[0].standing_words, "closes through run 2 at BM-1");
}

#[test]
fn beyond_its_last_tie_a_run_is_provisional() {
    let mut crew = Crew::new(with_bm2());
    setup_to(&mut crew, "BM-2", ("1.8004", "20.00"), ("1.2000", "20.00"));
    crew.shoot([("1.5000", "20.00"), ("1.4000", "20.00")]);
    crew.hear(Heard::Reading(side("1.0000", "5.00", "sill")));
    let book = document(crew, Distribution::ByLength);
    let run = &book.runs[0];
    assert_eq!(run.standing, RunStanding::ClosesInPart);
    assert_eq!(run.standing_words, "provisional beyond BM-2: from there the run has not closed");
    let [closed, hanging] = &run.sections[..] else { panic!("{:?}", run.sections) };
    assert_eq!(closed.to.as_deref(), Some("BM-2"));
    assert_eq!((hanging.to.as_ref(), hanging.verdict), (None, None));
    assert_eq!(
        shared(hanging),
        [("BM-2", "-0.4", "50.6000"), ("sill", "-0.4", "51.1000"), ("TP2", "-0.4", "50.7000"),]
    );
    assert!(print(&book).contains("provisional: beyond the last tie nothing has closed"));
}

#[test]
fn a_run_that_is_over_its_allowance_is_shown_for_checking_only() {
    let mut crew = Crew::new(with_bm2());
    setup_to(&mut crew, "BM-2", ("1.8100", "20.00"), ("1.2000", "20.00"));
    let book = document(crew, Distribution::ByLength);
    assert_eq!(book.runs[0].standing, RunStanding::DoesNotClose);
    assert_eq!(book.runs[0].closures[0].verdict, Closes::DoesNotClose);
    let text = words(&print(&book));
    assert!(text.contains("run 1 BM-1 to BM-2: does not close; at BM-2 +10.0 mm of 2.4 mm"), "{text}");
    assert!(text.contains("does not close: for checking only, these elevations are not to be used"), "{text}");
}

#[test]
fn an_open_run_says_that_it_is_provisional_and_shares_nothing_out() {
    let mut crew = Crew::new(settings());
    crew.shoot([("1.5000", "20.00"), ("1.2000", "20.00")]);
    let book = document(crew, Distribution::ByLength);
    assert_eq!(book.runs[0].standing, RunStanding::Provisional);
    assert!(book.runs[0].sections.is_empty());
    assert!(print(&book).contains("provisional: the run has not closed"));
}

#[test]
fn a_gap_parts_the_page_check_and_the_heights_beyond_hang_in_the_air() {
    let mut crew = Crew::new(settings());
    for _ in 0..3 {
        crew.shoot([("1.5000", "20.00"), ("1.2000", "20.00")]);
    }
    crew.say(strike(4));
    let book = document(crew, Distribution::ByLength);
    let run = &book.runs[0];
    let [before, beyond] = &run.page_checks[..] else { panic!("{:?}", run.page_checks) };
    assert_eq!((before.from.as_str(), before.to.as_str(), before.holds), ("BM-1", "TP1", true));
    assert_eq!((beyond.from.as_str(), beyond.to.as_str(), beyond.holds), ("TP2", "TP3", true));
    assert_eq!((&before.last, &beyond.first), (&run.lines[1].elevation, &None));
    let text = print(&book);
    assert!(text.contains("~1.2000~"), "{text}");
    assert!(text.contains("setup 2 has lost its foresight"), "{text}");
    assert!(text.contains("no elevation: not tied to a known point"), "{text}");
}

#[test]
fn a_page_check_says_by_how_much_it_does_not_hold() {
    let job = day();
    let book = job.document(job.options());
    let altered = |alter: fn(&mut Vec<Line>)| {
        let mut lines = book.runs[0].lines.clone();
        alter(&mut lines);
        page_check(&book.shown, &lines).remove(0)
    };
    assert!(altered(|_| {}).holds);
    let mm = Length::from_mm(1);
    type Alter = fn(&mut Vec<Line>);
    let alterations: [(&str, Alter); 4] = [
        ("a backsight", |lines| shift(&mut lines[1].backsight.as_mut().unwrap().booked)),
        ("a foresight", |lines| shift(&mut lines[1].foresight.as_mut().unwrap().booked)),
        ("a rise", |lines| shift(&mut lines[1].rise)),
        ("the last elevation", |lines| shift(&mut lines.last_mut().unwrap().elevation)),
    ];
    for (what, alter) in alterations {
        let check = altered(alter);
        assert!(!check.holds, "{what}");
        assert_eq!(check.off_by.unwrap().exact, mm, "{what}");
    }
    let mut wrong = book.clone();
    shift(&mut wrong.runs[0].lines[1].rise);
    wrong.runs[0].page_checks = page_check(&wrong.shown, &wrong.runs[0].lines);
    let text = print(&wrong);
    assert!(text.contains("DOES NOT HOLD from BM-1 to BM-1: off by 0.0010000000 m"), "{text}");
}

fn shift(figure: &mut Option<Figure>) {
    figure.as_mut().unwrap().exact += Length::from_mm(1);
}

#[test]
fn a_reading_struck_restored_and_struck_again_keeps_its_history() {
    let mut crew = Crew::new(settings());
    crew.shoot([("1.5000", "20.00"), ("1.2000", "20.00")]);
    crew.say(strike(2));
    crew.say(Command::Restore { reading: 2 });
    crew.say(strike(2));
    crew.say(Command::Note { reading: Some(2), text: "the staff sank".to_owned() });
    let book = document(crew, Distribution::ByLength);
    assert_eq!(book.readings[1].state, State::Struck);
    assert_eq!(book.readings[1].said.len(), 4);
    let text = words(&print(&book));
    let when = "14:13:28 by tell";
    let history = format!("struck out {when}; restored {when}; struck out {when}; note \"the staff sank\" {when}");
    assert!(text.contains(&history), "{text}");
    assert!(text.contains("~1.2000~"), "{text}");
}

#[test]
fn a_command_taken_back_is_told_and_does_not_count() {
    let mut crew = Crew::new(settings());
    crew.shoot([("1.5000", "20.00"), ("1.2000", "20.00")]);
    crew.say(strike(2));
    let event = crew.events.iter().rfind(|event| event.body.kind() == "commanded").unwrap().seq;
    crew.say(Command::Undo { event });
    let undo = crew.events.iter().rfind(|event| event.body.kind() == "commanded").unwrap().seq;
    let book = document(crew, Distribution::ByLength);
    assert_eq!(book.readings[1].state, State::Counted);
    assert_eq!(book.said[0].taken_back_by, Some(undo));
    assert!(book.readings[1].remarks[0].ends_with(&format!("(taken back by event {undo})")));
}

#[test]
fn a_taking_back_that_was_taken_back_itself_takes_nothing_back() {
    let mut crew = Crew::new(settings());
    crew.shoot([("1.5000", "20.00"), ("1.2000", "20.00")]);
    crew.say(strike(2));
    for _ in 0..2 {
        let event = crew.events.iter().rfind(|event| event.body.kind() == "commanded").unwrap().seq;
        crew.say(Command::Undo { event });
    }
    let book = document(crew, Distribution::ByLength);
    assert_eq!(book.readings[1].state, State::Struck);
    let [struck, undone, again] = &book.said[..] else { panic!("{:?}", book.said) };
    assert_eq!((struck.taken_back_by, undone.taken_back_by, again.taken_back_by), (None, Some(again.event), None));
}

#[test]
fn a_setup_broken_off_at_the_very_start_stays_on_the_line_of_its_point() {
    let mut crew = Crew::new(settings());
    crew.shoot([("1.5000", "20.00")]);
    crew.say(Command::Break { reading: None });
    let book = document(crew, Distribution::ByLength);
    assert_eq!(book.runs[0].lines.len(), 1);
    assert_eq!(book.runs[0].lines[0].broken, [1]);
    let text = print(&book);
    assert!(text.contains("/1.5000/") && text.contains("setup broken off"), "{text}");
}

#[test]
fn two_setups_broken_off_one_after_the_other_each_have_their_own_command() {
    let mut crew = Crew::new(settings());
    for staff in ["1.5000", "1.6000"] {
        crew.shoot([(staff, "20.00")]);
        crew.say(Command::Break { reading: None });
    }
    crew.shoot([("1.7000", "20.00"), ("1.2000", "20.00")]);
    let book = document(crew, Distribution::ByLength);
    let said: Vec<usize> = book.readings.iter().map(|row| row.said.len()).collect();
    assert_eq!(said, [1, 1, 0, 0]);
    assert_eq!(book.runs[0].lines[0].broken, [1, 2]);
}

#[test]
fn an_assumed_datum_and_limits_from_memory_say_so() {
    let mut settings = settings();
    settings.known = vec![KnownPoint { assumed: true, ..known("BM-1", "100.000") }];
    settings.class = classes::find("fgcc1984-first-order-class-I").unwrap().clone();
    let mut crew = Crew::new(settings);
    crew.shoot([("1.5000", "20.00"), ("1.2000", "20.00")]);
    let book = document(crew, Distribution::ByLength);
    let text = print(&book);
    assert!(text.contains("assumed datum: BM-1 was taken as 100.0000 m"), "{text}");
    assert!(text.contains("BM-1 100.0000 m, ASSUMED"), "{text}");
    assert!(text.contains("from memory"), "{text}");
    assert!(book.class.limits.iter().any(|row| row.basis == "from memory"));
}

#[test]
fn a_datum_met_in_the_middle_carries_both_ways() {
    let mut settings = settings();
    settings.known = vec![known("M", "70.0000")];
    settings.start = Some(name("P"));
    let mut crew = Crew::new(settings);
    crew.shoot([("1.5000", "20.00"), ("1.2000", "20.00"), ("1.6000", "20.00")]);
    crew.hear(Heard::Reading(side("1.1000", "9.00", "M")));
    crew.shoot([("1.3000", "20.00")]);
    let book = document(crew, Distribution::ByLength);
    let shown = |line: &Line| line.elevation.as_ref().map(|figure| figure.shown.clone());
    let elevations: Vec<Option<String>> = book.runs[0].lines.iter().map(shown).collect();
    // The line of sight is at 71.1 m; before it TP1 is 1.6 m lower and P 0.3 m below that.
    let wanted = ["69.2000", "69.5000", "70.0000", "69.8000"].map(|text| Some(text.to_owned()));
    assert_eq!(elevations, wanted);
    assert_eq!(book.runs[0].datums, ["elevations rest on M, known as 70.0000 m, met at setup 2"]);
}

#[test]
fn a_finding_tells_when_it_was_announced_acknowledged_and_gone() {
    let job = day();
    let book = job.document(job.options());
    let row = |key: &str| book.findings.iter().find(|row| row.key == key).unwrap();
    let balance = row("balance@setup-1.2");
    assert_eq!((balance.state, balance.announced.len(), balance.acknowledged.len()), (FindingState::Stands, 1, 1));
    assert_eq!((balance.value.as_deref(), balance.limit.as_deref()), (Some("2.50 m"), Some("2.00 m")));
    assert_eq!(balance.basis.as_deref(), Some("building work, common practice, no source"));
    let same = row("same-sight@reading-11");
    assert_eq!((same.state, same.announced.len(), same.withdrawn.len()), (FindingState::Gone, 1, 1));
    assert!(book.findings.is_sorted_by_key(|row| row.state == FindingState::Gone), "what stands comes first");
}

#[test]
fn a_reading_of_a_declared_unit_is_shown_in_the_jobs_with_what_was_sent() {
    let mut settings = settings();
    settings.also_units = vec![Unit::Foot];
    let mut crew = Crew::new(settings);
    crew.hear(Heard::Reading(Reading::of(Measured::parse("4.210", Unit::Foot).unwrap())));
    crew.hear(Heard::Reading(reading("1.2000", "20.00")));
    let book = document(crew, Distribution::ByLength);
    // 4.210 ft is 1.283208 m.
    assert_eq!(book.readings[0].reading.shown, "1.2832");
    assert!(book.readings[0].remarks.contains(&"sent as 4.210 ft".to_owned()));
    assert!(csv::print(&book).contains(",4.210,ft,m,1.2832,"));
    assert!(json::print(&book).contains("\"digits\": \"4.210\""));
}

#[test]
fn a_job_without_readings_is_a_book_too() {
    let book = document(Crew::new(settings()), Distribution::ByLength);
    let text = print(&book);
    assert!(text.contains("runs        none yet") && text.contains("findings    none stands"), "{text}");
    assert_eq!(csv::print(&book).lines().count(), 1);
}
