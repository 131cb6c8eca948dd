//! `closerun explain`: the text and the document, of a job file.

use std::path::Path;

use closerun::store::Job;
use serde_json::Value;

use crate::plant::{Family, Planted, plant};
use crate::program::run;
use crate::table::explained;

fn kept(planted: &Planted, folder: &Path) {
    let mut job = Job::create(&folder.join("a.job")).unwrap();
    job.append(&planted.events).unwrap();
    job.close().unwrap();
}

#[test]
fn the_text_says_what_where_how_it_closes_how_likely_and_what_would_confirm() {
    let folder = tempfile::tempdir().unwrap();
    let planted = plant(Family::Exchanged, 2);
    kept(&planted, folder.path());
    let ended = run(folder.path(), "explain a.job");
    assert_eq!(ended.code, 0, "{}", ended.err);
    let closerun::adjust::explain::Explanation { causes, .. } = explained(&planted);
    let setup = causes[0].sites[0].setup.unwrap();
    for wanted in [
        "SIMULATED".to_owned(),
        "1 backsight and foresight exchanged at setup ".to_owned() + &setup.to_string(),
        "closes then by ".to_owned(),
        "over a million times as likely as plain noise".to_owned(),
        "to confirm: ".to_owned(),
        "if so: accept 1\n".to_owned(),
        "plain noise: under 1 %".to_owned(),
        "common practice, no source".to_owned(),
    ] {
        let words = ended.out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(words.contains(wanted.trim()), "{wanted:?} in\n{}", ended.out);
    }
    assert!(ended.out.lines().all(|line| line.chars().count() <= 80), "{}", ended.out);
    let absent = run(folder.path(), "explain a.job --run 9");
    assert_eq!((absent.code, absent.err.trim()), (2, "closerun: no run 9: a.job holds 1"));
}

#[test]
fn the_document_holds_the_same_numbers() {
    let folder = tempfile::tempdir().unwrap();
    let planted = plant(Family::WholeDecimetre, 5);
    kept(&planted, folder.path());
    let document: Value = serde_json::from_str(&run(folder.path(), "explain a.job --json").out).unwrap();
    assert_eq!(document["schema"], 1);
    let explanation = explained(&planted);
    let told = document["misclosures"].as_array().unwrap().last().unwrap();
    assert_eq!(told["finding"], explanation.finding.to_string());
    let causes = told["causes"].as_array().unwrap();
    assert_eq!(causes.len(), explanation.causes.len());
    for (told, cause) in causes.iter().zip(&explanation.causes) {
        assert_eq!(told["places"].as_array().unwrap().len(), cause.sites.len());
        assert!((told["share"].as_f64().unwrap() - cause.share).abs() < 1e-12);
        assert!(told["odds_against_noise"].as_f64().unwrap() > 0.0, "a number, also where it is overwhelming");
    }
    let schema: Value = serde_json::from_str(&run(folder.path(), "schema explain").out).unwrap();
    let keys = |value: &Value| value.as_object().unwrap().keys().cloned().collect::<Vec<_>>();
    let promised = keys(&schema["properties"]);
    assert_eq!(keys(&document), promised);
    let promised = keys(&schema["$defs"]["Causes"]["properties"]);
    assert_eq!(keys(told), promised);
}

#[test]
fn a_job_that_closes_has_nothing_to_explain() {
    let folder = tempfile::tempdir().unwrap();
    let mut planted = plant(Family::Exchanged, 2);
    let finding = explained(&planted).finding;
    let command = closerun::report::causes::accept(&planted.book, &finding, 1, None).unwrap();
    planted.say(command);
    kept(&planted, folder.path());
    let ended = run(folder.path(), "explain a.job");
    assert_eq!(ended.code, 0);
    assert!(ended.out.contains("nothing to explain: no misclosure is over its allowance\n"), "{}", ended.out);
    assert!(ended.out.contains(": closes, "), "{}", ended.out);
    let book = run(folder.path(), "book a.job").out;
    assert!(book.contains("backsight and foresight are exchanged"), "the field book says what was accepted:\n{book}");
}
