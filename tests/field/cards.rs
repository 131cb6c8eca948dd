//! Mark cards: what stands on them before and after the run has closed, and that no card lacks what its reader needs.

use closerun::book::reading::PointName;
use closerun::book::settings::Settings;
use closerun::field::targets::targets;
use closerun::report::cards::{Across, Card, Cards, Wanted, cards, text};
use closerun::report::document::{Distribution, closed_corrections};
use closerun::report::pdf::{Label, Paper, Stock, print_cards};
use closerun::units::Unit;

use crate::at_desk::Person;
use crate::harness::crew::{name, settings};

pub(crate) fn made(person: &Person, wanted: &Wanted) -> Cards {
    cards(person.book(), "core.job", wanted, |event| format!("{event:016x}")).unwrap()
}

fn card(person: &Person) -> Card {
    let mut made = made(person, &Wanted::default());
    assert_eq!(made.cards.len(), 1);
    made.cards.remove(0)
}

/// How well the only target is known.
fn deviation_mm(person: &Person) -> f64 {
    let corrections = closed_corrections(person.book(), Distribution::USUAL);
    targets(person.book(), &corrections)[0].deviation.as_ref().unwrap().sd.to_f64_mm()
}

/// A target set from the first of two setups of a loop, 0.001 ft low.
pub(crate) fn set() -> Person {
    let mut person = Person::with(Settings { unit: Unit::Foot, known: Vec::new(), ..settings() });
    person.say("know BM-1=100.000");
    person.say("target C-5 100.000 offset 5.000 within 0.003 means finished_floor");
    person.key(&["6.000 60"]);
    person.say("set C-5");
    person.key(&["1.001"]);
    person.say("mark by AB");
    person
}

#[test]
fn a_card_says_what_it_stands_for_and_provisional_until_the_run_has_closed() {
    let mut person = set();
    let open = card(&person);
    assert_eq!((open.name.as_str(), open.elevation.as_str(), open.other.as_str()), ("C-5", "105.000 ft", "32.0040 m"));
    assert_eq!(open.stands_for.as_deref(), Some("finished_floor + 5.000 ft"));
    assert_eq!(open.set, "the mark is 0.0010 ft low (tolerance 0.0030 ft)");
    // One setup: two readings of 0.3 mm make 0.424 mm.
    assert_eq!(open.known, "standard deviation 0.0014 ft, BM-1 taken as exact");
    assert_eq!(open.hangs_on, "run 1 from BM-1, setup 1; has not closed");
    assert_eq!((open.by.as_deref(), open.date.as_str()), (Some("AB"), "2026-09-21"));
    assert_eq!(open.across, Some(Across::Provisional));
    // Back to the start, 0.002 ft too low over two setups: half of that is the first one's.
    person.key(&["4.000 60", "4.500 60", "6.502 60"]);
    person.say("point 4 BM-1");
    person.say("end");
    let closed = card(&person);
    assert_eq!(closed.across, None);
    assert_eq!(closed.set, "the mark is at its height (tolerance 0.0030 ft)");
    assert!(
        closed.hangs_on.starts_with("run 1 from BM-1, setup 1; closes at BM-1, -0.0020 ft of "),
        "{}",
        closed.hangs_on
    );
    assert_eq!(closed.known, open.known, "the first setup of a line: its own two readings");
    assert_eq!(closed.code, open.code, "what is written down stays");
    let lines = text(&made(&person, &Wanted::default()));
    assert!(lines.lines().all(|line| line.trim_end() == line), "{lines}");
    for words in
        ["C-5", "105.000 ft   32.0040 m", "finished_floor + 5.000 ft", "2026-09-21, set by AB", &closed.code.written()]
    {
        assert!(lines.contains(words), "{words} in\n{lines}");
    }
}

#[test]
fn a_target_in_the_middle_of_a_line_is_known_better_once_it_closes() {
    let mut person = Person::with(settings());
    person.say("register BM-1=50.0000 sd 0.6mm");
    person.key(&["1.5000 20", "1.2000 20", "1.5000 20"]);
    person.say("set T-1 50.6000");
    person.key(&["1.2000"]);
    person.say("mark");
    assert_eq!(card(&person).known, "standard deviation 0.8 mm");
    // Two setups of 0.424 mm and the benchmark's 0.6 mm.
    assert!((deviation_mm(&person) - 0.8485).abs() < 1e-3, "{}", deviation_mm(&person));
    person.key(&["1.2000 20", "1.0000 20", "1.6000 20"]);
    person.say("point 6 BM-1");
    assert_eq!(card(&person).across, None);
    // One of three setups into the line, and one to the mark: (1 * 2 / 3 + 1) * 0.18 mm^2, and the benchmark.
    assert!((deviation_mm(&person) - 0.8124).abs() < 1e-3, "{}", deviation_mm(&person));
    assert_eq!(card(&person).by, None);
    let named = Wanted { by: Some("CD".to_owned()), names: vec![name("T-1")] };
    assert_eq!(made(&person, &named).cards[0].by.as_deref(), Some("CD"));
}

#[test]
fn a_target_that_adjustment_moves_out_of_its_tolerance_is_to_be_set_again() {
    let mut person = Person::with(settings());
    person.key(&["1.5000 20"]);
    person.say("set T-1 50.0000 within 0.2mm");
    person.key(&["1.5000"]);
    person.say("mark");
    assert_eq!(card(&person).across, Some(Across::Provisional));
    person.key(&["1.2000 20", "1.2000 20", "1.5010 20"]);
    person.say("point 4 BM-1");
    // The loop closes 1.0 mm low: half of it is the first setup's.
    let moved = card(&person);
    assert_eq!(moved.set, "the mark is 0.5 mm high (tolerance 0.2 mm)");
    assert_eq!(moved.across, Some(Across::SetAgain));
}

#[test]
fn a_card_of_a_run_that_does_not_close_says_so_across() {
    let mut person = set();
    person.key(&["4.000 60", "4.500 60", "6.702 60"]);
    person.say("point 4 BM-1");
    assert_eq!(card(&person).across, Some(Across::DoesNotClose));
    assert!(card(&person).hangs_on.contains("does not close at BM-1, -0.2020 ft of"), "{}", card(&person).hangs_on);
}

#[test]
fn where_there_is_no_card_it_is_said_why() {
    let person = Person::with(settings());
    let none = |person: &Person, names: &[PointName]| {
        let wanted = Wanted { by: None, names: names.to_vec() };
        cards(person.book(), "core.job", &wanted, |_| String::new()).unwrap_err().to_string()
    };
    assert_eq!(none(&person, &[]), "no target has been set in core.job, so there is no card to print");
    assert_eq!(none(&set(), &[name("C-6")]), "target C-6 has not been set in core.job: set it, then print its card");
}

#[test]
fn cards_are_printed_several_to_a_sheet_or_one_to_a_label() {
    let person = set();
    let mut nine = made(&person, &Wanted::default());
    nine.cards = vec![nine.cards.remove(0); 9];
    let pages = |stock| print_cards(&nine, stock).unwrap();
    for paper in [Paper::A4, Paper::Letter] {
        let sheets = pages(Stock::Sheets(paper));
        assert_eq!(sheets.pages, 2, "eight to a sheet");
        assert!(sheets.bytes.starts_with(b"%PDF-"));
        assert_eq!(sheets, pages(Stock::Sheets(paper)), "the same bytes each time");
    }
    assert_eq!(pages(Stock::Labels(Label::USUAL)).pages, 9);
    assert_eq!(pages(Stock::Labels("62x40".parse().unwrap())).pages, 9);
}
