//! Why a run does not close: planted mistakes are found, plain noise is not accused, and accepting a cause closes the run
//! without a reading being altered.

#[path = "../harness/program.rs"]
mod program;

mod accepted;
mod command;
#[expect(dead_code, reason = "the bench has a run of its own")]
mod plant;
mod table;

use std::path::{Path, PathBuf};

use closerun::report::causes::causes;
use plant::{Family, Planted, Truth, plant};
use table::{Row, explained};

fn published() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/explain/table.md")
}

/// The published table is what comes out, and what comes out is good enough to be of use.
#[test]
fn the_true_cause_is_found_as_often_as_is_published() {
    let rows: Vec<Row> = Family::ALL.into_iter().map(table::row).collect();
    let found = table::print(&rows);
    let wanted = std::fs::read_to_string(published()).unwrap_or_default();
    assert_eq!(found, wanted, "cargo bench --bench explain writes it anew");
    for row in &rows {
        let (first, in_three, noise_first) = match row.family {
            Family::Noise | Family::WiderNoise => (95, 0, 95),
            // Other mistakes would look the same in the closures of one run: there it must be among the few that are told.
            Family::KnownMoved | Family::TurningPoint | Family::StaffZero | Family::Collimation => (30, 95, 0),
            _ => (90, 95, 0),
        };
        let enough = row.first >= first && row.in_three >= in_three && row.noise_first >= noise_first;
        assert!(
            enough,
            "{:?}: first {}, in three {}, noise first {}",
            row.family, row.first, row.in_three, row.noise_first
        );
    }
}

/// A single loop tells that something is wrong, never at which of its turning points.
#[test]
fn one_loop_cannot_tell_where_and_says_so() {
    let single = |planted: &Planted| explained(planted).closures == 1;
    let planted = (0..).map(|seed| plant(Family::TurningPoint, seed)).find(single).unwrap();
    let explanation = explained(&planted);
    let cause = explanation.causes.iter().find(|cause| table::is_true(Family::TurningPoint, &planted, cause)).unwrap();
    assert_eq!(cause.sites.len() + 1, planted.book.runs()[0].setups.len(), "every turning point of it");
    let told = causes(&planted.book, &explanation.finding).unwrap();
    let told = told.causes.iter().find(|cause| cause.family == "turning-point").unwrap();
    let words = told.places_words.as_ref().unwrap();
    assert!(words.starts_with("the closures cannot tell where: setups 2 to "), "{words}");
    assert!(words.contains("a run from TP") && words.ends_with("tells which half"), "{words}");
}

/// A known mark on the way halves the search: only the setups of the stretch that does not close are named.
#[test]
fn a_closure_on_the_way_tells_which_half() {
    let narrowed = |planted: &Planted| explained(planted).closures == 2;
    for planted in (0..200).map(|seed| plant(Family::TurningPoint, seed)).filter(narrowed).take(10) {
        let Truth::Setup(truth) = planted.truth else { panic!("{:?}", planted.truth) };
        let explanation = explained(&planted);
        let Some(cause) = explanation.causes.iter().find(|c| table::is_true(Family::TurningPoint, &planted, c)) else {
            panic!("{explanation:?}")
        };
        let middle = planted.book.runs()[0].closures().next().unwrap().setups;
        let same_half = |site: &closerun::adjust::explain::Site| (site.setup.unwrap() <= middle) == (truth <= middle);
        assert!(cause.sites.iter().all(same_half), "{:?}", cause.sites);
    }
}

/// The shot that is proposed reads what is foretold once the mistake is known.
#[test]
fn the_proposed_shot_would_tell() {
    let mut proposed = 0;
    for seed in 0..40 {
        let planted = plant(Family::Exchanged, seed);
        let explanation = explained(&planted);
        let Some(cause) = explanation.causes.iter().find(|c| table::is_true(Family::Exchanged, &planted, c)) else {
            continue;
        };
        let (Some(probe), [site]) = (&cause.probe, &cause.sites[..]) else { continue };
        let run = &planted.book.runs()[0];
        let last = run.setups.last().unwrap();
        if site.setup == Some(last.number) {
            continue;
        }
        proposed += 1;
        // Height of the line of sight over the point, with the rises as they truly were.
        let command = closerun::report::causes::accept(&planted.book, &explanation.finding, 1, None).unwrap();
        let mended = &planted.book.suppose(&command)[0];
        let point = &mended.setups[site.setup.unwrap() as usize - 1];
        let over = mended.setups.last().unwrap().instrument().unwrap().height - point.before.level.height;
        assert_eq!(probe.if_so, over, "seed {seed}");
        assert_eq!(&probe.point, &point.back_point);
    }
    assert!(proposed > 5, "{proposed} shots were proposed");
}
