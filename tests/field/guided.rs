//! Activities guided shot by shot, by hands-free readings and by keyed-in ones, kept as events, refused in a sentence.

use closerun::adjust::observed::{Detail, Deviations, Source, observed};
use closerun::book::activity::{Judged, Outcome};
use closerun::book::classes;
use closerun::book::finding::{FindingId, Priority};
use closerun::book::settings::{Instrument, Settings};
use closerun::units::{Length, Unit};

use crate::at_desk::Person;
use crate::harness::crew::{known, name, settings};

fn metres() -> Person {
    Person::with(settings())
}

/// A foot job that starts on BM-1 at 100 ft.
fn feet() -> Person {
    let mut person = Person::with(Settings { unit: Unit::Foot, known: Vec::new(), ..settings() });
    person.say("know BM-1=100.000");
    person
}

#[test]
fn a_two_peg_test_is_guided_and_kept_with_its_verdict() {
    let mut person = metres();
    let begun = person.say("test two-peg mid-outside 40 10 k none");
    assert!(begun.contains("set up midway, 20.0 m from A and 20.0 m from B; shoot peg A"), "{begun}");
    assert!(person.key(&["1.5000"]).contains("shoot peg B"));
    let moved = person.key(&["1.2500"]);
    assert!(moved.contains("set up beyond B, 50.0 m from A and 10.0 m from B; shoot peg A"), "{moved}");
    // 0.1 mm/m falling: 40 m of difference read 4 mm too little.
    let done = person.key(&["1.3960", "1.1500"]);
    assert!(done.contains("two-peg test done"), "{done}");
    assert!(done.contains("the line of sight falls: -0.100 mm/m (-20.6\")"), "{done}");
    assert!(done.contains("over the limit (0.050 mm/m, building work, common practice, no source)"), "{done}");
    let (_, test) = person.book().activities().outcomes().next_back().unwrap();
    let Outcome::Collimation { mm_per_m, judged, .. } = test.outcome else { panic!("{test:?}") };
    assert!((mm_per_m + 0.1).abs() < 1e-9);
    assert_eq!(judged, Judged::Over);
    assert!(person.book().entries().is_empty(), "nothing of it is in the run");
    assert!(person.refused("correct collimation sideways").contains("a number was wanted"));
    assert!(person.say("correct collimation on").contains("an inclination of -0.1000 mm/m is taken out"));
    person.key(&["1.5000 30", "1.2000 10"]);
    // Each reading gains 0.1 mm/m times its sight: 3 mm and 1 mm.
    assert_eq!(person.book().elevation(&name("TP1")), Some(Length::parse("50.3020", Unit::Metre).unwrap()));
    person.say("correct collimation off");
    person.key(&["1.5000 30", "1.2000 10"]);
    assert_eq!(person.book().elevation(&name("TP2")), Some(Length::parse("50.6020", Unit::Metre).unwrap()));
}

#[test]
fn a_wrong_shot_is_struck_and_its_place_taken_again() {
    let mut person = metres();
    person.say("test two-peg mid-outside 40 10 k none");
    person.key(&["1.5000", "9.9999"]);
    person.say("strike");
    person.key(&["1.2500", "1.4000", "1.1500"]);
    assert_eq!(person.kept("activity-done"), 1);
    assert!(person.results()[0].contains("+0.000 mm/m"), "{:?}", person.results());
    // Also after the result: it is under way again, and comes to another.
    assert!(person.say("strike shot 5").contains("shoot peg B"));
    assert!(person.book().activities().under_way().is_some());
    person.key(&["1.1540"]);
    assert!(person.results()[1].contains("-0.100 mm/m"), "{:?}", person.results());
    assert_eq!(person.refused("strike shot 9"), "no shot 9: there are shots 1 to 6");
    assert_eq!(person.refused("strike shot 2"), "shot 2 is struck already");
}

#[test]
fn the_run_goes_on_where_it_was_when_an_activity_is_left() {
    let mut person = metres();
    person.key(&["1.5000 20"]);
    person.say("test two-peg mid-outside 40 10");
    assert_eq!(person.refused("test field full"), "the two-peg test is under way: bring it to its end, or say leave");
    person.key(&["1.4000", "1.3000"]);
    person.say("leave");
    person.key(&["1.2000 20"]);
    assert_eq!(person.book().elevation(&name("TP1")), Some(Length::parse("50.3", Unit::Metre).unwrap()));
    assert_eq!(person.refused("leave"), "no activity is under way: readings go to the run");
    assert_eq!(person.kept("activity-done"), 0);
}

#[test]
fn a_layout_too_short_to_tell_anything_is_refused() {
    let mut person = metres();
    let why = person.refused("test two-peg mid-outside 10 5");
    assert!(why.starts_with("the layout is too short: 10.00 m of distance to tell by"), "{why}");
    assert!(why.ends_with("use 24 m, or 6 shots on each peg"), "{why}");
    assert!(person.refused("test two-peg mid-outsid 40 10").contains("mid-outside was probably meant"));
    assert!(person.refused("test two-peg mid-outside 40").contains("that beyond B were wanted"));
    person.say("test two-peg mid-outside 10 5 x6");
}

#[test]
fn the_simplified_field_test_runs_through_forty_readings() {
    let mut person = metres();
    person.say("test field simplified permitted 0.5mm");
    for pair in 0..20 {
        let fore = if pair % 2 == 0 { "1.2501" } else { "1.2499" };
        person.key(&["1.5000"]);
        let said = person.key(&[fore]);
        if pair == 9 {
            assert!(said.contains("set up 10 m from the back staff and 50 m from the fore staff"), "{said}");
        }
    }
    let (_, test) = person.book().activities().outcomes().next_back().unwrap();
    assert_eq!(test.said[0], "the test is passed");
    assert_eq!(test.said[2], "the two sets agree: 0.00 mm apart, 0.50 mm permitted");
    let Outcome::FieldTest { s_m, nu, .. } = test.outcome else { panic!("{test:?}") };
    assert!((1000.0 * s_m - (0.1f64 / 9.0).sqrt()).abs() < 1e-9);
    assert_eq!(nu, 9);
}

#[test]
fn a_second_full_field_test_is_compared_with_the_first() {
    let mut person = metres();
    for _ in 0..2 {
        person.say("test field full stated 0.5mm");
        for pair in 0..40 {
            person.key(&["1.5000", if pair % 2 == 0 { "1.2501" } else { "1.2499" }]);
        }
    }
    let said: Vec<_> = person.book().activities().outcomes().map(|(_, done)| done.said.clone()).collect();
    assert!(!said[0].iter().any(|words| words.contains("the earlier test")));
    assert!(said[1].iter().any(|words| words.starts_with("as good as the earlier test: ratio of variances 1.00")));
}

#[test]
fn a_test_is_due_by_the_class_and_its_effect_is_told() {
    let class = classes::find("fgcc1984-third-order").unwrap().clone();
    let mut person = Person::with(Settings { class, ..settings() });
    person.key(&["1.5000 20", "1.2000 20"]);
    let due = |person: &Person| person.book().standing().keys().any(|key| key.id == FindingId::CollimationDue);
    assert!(due(&person), "no test in the job");
    person.say("test two-peg mid-outside 60 10 x2 k none");
    // 0.5 mm/m climbing over 60 m of difference.
    person.key(&["1.5000", "1.5000", "1.2500", "1.2500", "1.4300", "1.4300", "1.1500", "1.1500"]);
    person.say("end");
    person.key(&["1.4000 20", "1.2000 20"]);
    let standing: Vec<String> = person.book().standing().keys().map(ToString::to_string).collect();
    assert!(!standing.iter().any(|key| key == "collimation-due@run-2"), "{standing:?}");
    person.days_pass(8);
    person.say("end");
    person.key(&["1.4500 28", "1.2000 20"]);
    let standing = person.book().standing();
    let due = standing.iter().find(|(key, _)| key.to_string() == "collimation-due@run-3").unwrap();
    assert_eq!(due.1.priority, Priority::Warn);
    let effect = person.book().findings().find(|finding| finding.key.id == FindingId::CollimationEffect).unwrap();
    // 0.5 mm/m times 8 m.
    assert!(effect.fact.contains("leaves +4.0 mm in sights out of balance by +8.00 m"), "{}", effect.fact);
    person.say("correct collimation on");
    person.key(&["1.4700 20", "1.2000 20"]);
    assert!(!person.book().standing().keys().any(|key| key.id == FindingId::CollimationEffect), "it is taken out now");
}

#[test]
fn a_test_counts_for_its_own_instrument_and_one_from_the_middle_says_nothing_of_the_line_of_sight() {
    let named = |name: &str| Settings {
        instrument: Instrument { name: Some(name.to_owned()), ..settings().instrument },
        ..settings()
    };
    let mut person = Person::with(named("L-1"));
    let untested = "the line of sight has not been tested in this job";
    assert!(person.say("today").contains(untested));
    person.say("test field full");
    for pair in 0..40 {
        person.key(&["1.5000", if pair % 2 == 0 { "1.2501" } else { "1.2499" }]);
    }
    let today = person.say("today");
    assert!(today.contains("full field test of L-1, 2026-09-21: the test is passed"), "{today}");
    assert!(today.contains(untested), "{today}");
    person.say("test two-peg mid-outside 40 10 k none");
    person.key(&["1.5000", "1.2500", "1.3960", "1.1500"]);
    let today = person.say("today");
    assert!(today.contains("two-peg test of L-1, 2026-09-21: the line of sight falls"), "{today}");
    assert!(!today.contains(untested), "{today}");
    person.say("correct collimation on");
    let mut other = person.with_settings(named("L-2"));
    assert!(other.say("today").contains(untested), "that was another instrument");
    assert!(other.refused("correct collimation on").contains("no two-peg test in this job"));
}

#[test]
fn the_instrument_is_matched_to_a_height_and_the_run_takes_over() {
    let mut person = feet();
    let begun = person.say("match 105.000 on BM-1");
    assert!(begun.contains("it should read 5.000 ft"), "{begun}");
    assert!(person.key(&["4.960"]).contains("all three legs up 0.0400 ft"));
    assert!(person.key(&["5.020"]).contains("all three legs down 0.0200 ft"));
    let last = person.key(&["5.002"]);
    assert!(last.contains("the instrument is 0.0020 ft high") && last.contains("one leg down 0.0040 ft"), "{last}");
    let done = person.key(&["4.999"]);
    assert!(done.contains("matched: the instrument is 0.0010 ft low, within 0.0010 ft"), "{done}");
    person.key(&["4.999", "5.000 30"]);
    assert_eq!(person.book().entries().len(), 2, "the transfer is a setup like any other");
    assert_eq!(
        person.refused("match 130 on BM-1").split(", out").next(),
        Some("the height 130 ft is 30.000 ft from BM-1")
    );
    assert!(person.refused("match 105 on NOWHERE").contains("NOWHERE has no elevation"));
}

#[test]
fn a_target_is_set_moved_marked_and_re_stated_once_the_loop_has_closed() {
    let mut person = feet();
    person.say("target C-5 100.000 offset 5.000 within 0.003 means floor");
    assert_eq!(
        person.refused("set C-5"),
        "C-5 cannot be set: no line of sight, shoot a backsight on a known point first"
    );
    person.key(&["6.000 60"]);
    let begun = person.say("set C-5");
    assert!(begun.contains("hold the staff at the mark: look for 1.000 ft"), "{begun}");
    assert!(person.key(&["1.012"]).contains("up 0.012 ft, 0'-0 1/8\", 3.7 mm"));
    assert_eq!(
        person.refused("mark"),
        "the staff is not there yet: up 0.012 ft, 0'-0 1/8\", 3.7 mm (tolerance 0.0030 ft)"
    );
    assert!(person.key(&["1.001"]).contains("say: mark"));
    let done = person.say("mark");
    assert!(done.contains("C-5 is set at 105.000 ft, floor + 5.000 ft; -0.0010 ft off"), "{done}");
    let today = person.say("today");
    assert!(today.contains("provisional run 1 from BM-1 has not closed target C-5 is set within 0.0030 ft"), "{today}");
    // Back to the start from another height: 0.002 ft low over two setups.
    person.key(&["4.000 60", "4.500 60", "6.502 60"]);
    person.say("point 4 BM-1");
    let today = person.say("today");
    assert!(!today.contains("provisional"), "{today}");
    let (_, checked) = today.split_once("checked").expect("something was checked");
    assert!(checked.contains("run 1 closes at BM-1, -0.0020 ft of"), "{today}");
    assert!(checked.contains("target C-5 is set within 0.0030 ft"), "{today}");
}

#[test]
fn a_line_is_struck_through_two_marks_wider_apart_than_the_target() {
    let mut person = feet();
    person.key(&["6.000 60"]);
    assert!(
        person
            .refused("set A 105.000 line 1 width 2")
            .contains("the line is struck through marks wider apart than the target")
    );
    assert!(person.refused("set A 105.000 line 3").contains("the width of the target was wanted"));
    person.say("set A 105.000 within 0.003 line 3 width 1");
    person.key(&["1.001"]);
    assert!(person.say("mark").contains("hold the staff at the second mark"));
    person.key(&["0.997"]);
    let apart = person.say("mark");
    assert!(apart.contains("more than 0.0030 ft, strike one of them and shoot it again"), "{apart}");
    assert_eq!(person.kept("activity-done"), 0, "nothing is booked");
    person.say("strike shot 2");
    person.key(&["0.999"]);
    let done = person.say("mark");
    assert!(done.contains("A is set at 105.000 ft"), "{done}");
    assert!(done.contains("a slope of +0.67 mm/m"), "{done}");
}

#[test]
fn overhead_targets_take_an_inverted_staff_and_those_out_of_reach_are_refused() {
    let mut person = metres();
    person.key(&["1.5000 20"]);
    assert!(person.say("set H-1 53.000").contains("hold the staff on its head at the mark: look for -1.5000 m"));
    assert!(person.key(&["-1.5120"]).contains("down 12.0 mm"));
    person.say("leave");
    let why = person.refused("set X 40.000");
    assert_eq!(
        why,
        "X: the target is 11.500 m below the line of sight, out of the reach of a staff of 4.00 m: set up nearer to it in \
         height"
    );
    assert!(person.refused("set Y").contains("no target Y on the list: give its elevation"));
    assert!(person.refused("set Z 173ft").contains("Z is given in ft, the job is in m: one unit was wanted"));
}

#[test]
fn a_mark_is_checked_against_another_before_use() {
    let mut person = Person::with(Settings { known: vec![known("BM-1", "50.0000")], ..settings() });
    person.say("register BM-2=51.0000 sd 0.5mm datum site");
    assert!(person.refused("check BM-9 against BM-1").contains("BM-9 has no known elevation"));
    for (fore, said) in [
        ("0.5002", "BM-2 agrees with BM-1"),
        ("0.5018", "BM-2 is doubtful against BM-1"),
        ("0.5040", "BM-2 or BM-1 has moved"),
    ] {
        let begun = person.say("check BM-2 against BM-1");
        assert!(begun.contains("shoot the staff on BM-1"), "{begun}");
        let done = person.key(&["1.5000", fore]);
        assert!(done.contains(said), "{done}");
        assert!(done.contains("taken as exact, no uncertainty stated: BM-1"), "{done}");
    }
    assert_eq!(
        person.refused("register BM-2=51.0040"),
        "BM-2 has the elevation 51.0000 m and would have 51.0040 m too: one was wanted, or the date of the later one"
    );
    person.say("register BM-2=51.0040 sd 0.5mm date 2026-09-21");
    assert_eq!(person.book().amendments().marks()[&name("BM-2")].len(), 2, "its history");
    assert!(person.refused("register BM-3=167.3ft").contains("one unit was wanted"));
}

#[test]
fn a_gap_is_crossed_in_sets_and_enters_as_one_observed_rise() {
    let mut person = metres();
    person.say("reciprocal A B 200 x2");
    let first = person.key(&["1.5000", "2.7070", "2.6000", "1.4070"]);
    assert!(first.contains("set 1: B is higher by -1.2000 m, the far staff reads too high by +7.0 mm"), "{first}");
    let done = person.key(&["1.5000", "2.7090", "2.6020", "1.4070"]);
    assert!(done.contains("B is higher than A by -1.2010 m"), "{done}");
    let rise = person.book().activities().rises().next().unwrap();
    assert_eq!(rise.activity.task.ends(), Some((&name("A"), &name("B"))));
    assert!(person.refused("reciprocal A B 20000").contains("beyond the horizon"));
}

#[test]
fn a_tape_carries_a_height_up_and_a_second_transfer_is_wanted() {
    let mut person = metres();
    let why = person.refused("tape L1 L7 nominal 50 certified 50.002 temperature 10");
    assert_eq!(why, "the tape's tension is missing, it was wanted in words such as \"plummet 50N\"");
    assert!(person.refused("tape L1 L7 nominal 50 plummet 50N").contains("the tape's certificate is missing"));
    assert!(person.refused("tape L1 L7 nominal 50 certified 50.002 plummet 5").contains("a force with its unit"));
    let words = "tape L1 L7 nominal 50 certified 50.002 plummet 50N temperature 10 weight 0.2";
    let begun = person.say(words);
    assert!(begun.contains("lower level: shoot the staff on L1"), "{begun}");
    let done = person.key(&["1.500", "22.000", "2.000", "1.400"]);
    // By hand: 20.1 m + 0.80 - 2.32 + 0.304 mm.
    assert!(done.contains("L7 is higher than L1 by 20.0988 m"), "{done}");
    assert!(done.contains("standard +0.80 mm") && done.contains("temperature -2.32 mm"), "{done}");
    assert!(done.contains("single, unchecked"), "{done}");
    assert!(person.say("today").contains("tape transfer from L1 to L7 is single, unchecked: a second one is wanted"));
    person.say(words);
    let second = person.key(&["1.4000", "22.5010", "2.4000", "1.4000"]);
    assert!(second.contains("agrees with the transfer before"), "{second}");
    assert!(person.say("today").contains("tape transfer from L1 to L7 agrees with a second one"));
    // Both are observed differences of a network, each with its own deviation.
    let job = [Source { name: "core", book: person.book() }];
    let network = observed(&job, Detail::Marks, Deviations::LeftOut).given;
    let told: Vec<_> = network.sections.iter().map(|section| format!("{} {}", section.from, section.to)).collect();
    assert_eq!(told, ["L1 L7", "L1 L7"]);
    let rises: Vec<_> = person.book().activities().rises().map(|rise| (rise.rise, Some(rise.sd))).collect();
    assert_eq!(network.sections.iter().map(|section| (section.rise, section.deviation)).collect::<Vec<_>>(), rises);
}

#[test]
fn three_wires_are_booked_as_their_mean_with_the_sight_from_the_interval() {
    let mut person = feet();
    person.say("wires 4.31 4.16 4.02");
    let entry = &person.book().entries()[0];
    assert_eq!(entry.reading.staff.digits().as_str(), "4.163");
    assert_eq!(entry.reading.sight.unwrap().digits().as_str(), "29.00");
    assert!(person.refused("wires 4.31 4.61 4.02").contains("out of order"));
    assert!(person.refused("wires 4.41 4.16 4.02").contains("read the wires again"));
    assert!(person.refused("wires 4.31 4.16 1.225m").contains("wires in ft and in m found, one unit was wanted"));
}
