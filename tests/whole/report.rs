//! The report command: what it writes, where, and what it will not write over.

use std::fs;

use serde_json::Value;

use crate::program::run;

#[test]
fn each_output_is_written_where_it_is_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    assert_eq!(run(folder.path(), "demo --quiet --speed 1000 --job d.job").code, 0);
    let ended = run(folder.path(), "report d.job");
    assert_eq!((ended.code, ended.err.as_str()), (0, ""), "no progress in a pipe");
    assert!(ended.out.starts_with("d.pdf: ") && ended.out.contains("pages, "), "{}", ended.out);
    let first = fs::read(path("d.pdf")).unwrap();
    assert!(first.starts_with(b"%PDF-"));
    assert_eq!(run(folder.path(), "report d.job --to again.pdf").code, 0);
    assert_eq!(fs::read(path("again.pdf")).unwrap(), first, "no clock but the job's own");

    let ended = run(folder.path(), "report d.job --xlsx d.xlsx --svg drawings");
    assert_eq!(ended.code, 0, "{}", ended.err);
    assert!(fs::read(path("d.xlsx")).unwrap().starts_with(b"PK"));
    for name in ["run-1-profile", "run-1-misclosure", "run-1-balance", "residuals", "network"] {
        let svg = fs::read_to_string(path(&format!("drawings/{name}.svg"))).unwrap();
        assert!(svg.starts_with("<svg") && svg.ends_with("</svg>"), "{name}");
        assert!(ended.out.contains(&format!("{name}.svg: ")), "{}", ended.out);
    }

    let json: Value = serde_json::from_str(&run(folder.path(), "report d.job --json").out).unwrap();
    let verified = run(folder.path(), "verify d.job").out;
    let digest = json["record"]["digest"].as_str().unwrap();
    assert!(verified.contains(digest), "the digest is the hash that verify tells: {verified}");
    assert_eq!((&json["schema"], &json["answer"]["standing"]), (&Value::from(2), &Value::from("closes")));
    let csv = run(folder.path(), "report d.job --csv").out;
    assert_eq!(csv.lines().count(), json["results"].as_array().unwrap().len() + 1);
    assert!(csv.lines().skip(1).all(|row| row.contains(digest)));
}

#[test]
fn nothing_else_is_written_over() {
    let folder = tempfile::tempdir().unwrap();
    assert_eq!(run(folder.path(), "demo --quiet --speed 1000 --job d.job").code, 0);
    let job = fs::read(folder.path().join("d.job")).unwrap();
    for arguments in ["report d.job --to d.job", "report d.job --xlsx d.job"] {
        let ended = run(folder.path(), arguments);
        assert_eq!(ended.code, 2);
        assert_eq!(ended.err.trim_end(), "closerun: d.job: that is the job itself; name another file");
    }
    assert_eq!(fs::read(folder.path().join("d.job")).unwrap(), job);
    fs::write(folder.path().join("letter.txt"), "Dear").unwrap();
    let ended = run(folder.path(), "report d.job --to letter.txt");
    assert_eq!((ended.code, ended.err.contains("it is there and is no PDF")), (2, true), "{}", ended.err);
    let ended = run(folder.path(), "report d.job --run 7");
    assert_eq!((ended.code, ended.err.contains("run 7: the job holds 1")), (2, true), "{}", ended.err);
}

#[test]
fn an_adjustment_by_the_same_rule_gives_the_elevations_of_the_report() {
    let folder = tempfile::tempdir().unwrap();
    assert_eq!(run(folder.path(), "demo --quiet --speed 1000 --job d.job").code, 0);
    let json = |arguments: &str| -> Value { serde_json::from_str(&run(folder.path(), arguments).out).unwrap() };
    let report = json("report d.job --json");
    let adjusted = json("adjust d.job --json");
    let metres = |row: &Value| row["elevation"]["m"].as_str().unwrap().parse::<f64>().unwrap();
    let results = report["results"].as_array().unwrap();
    assert!(results.len() > 2, "{results:?}");
    for row in results {
        let marks = adjusted["marks"].as_array().unwrap();
        let mark =
            marks.iter().find(|mark| mark["mark"] == row["point"]).unwrap_or_else(|| panic!("{row} in {adjusted}"));
        assert!((metres(row) - metres(mark)).abs() < 1e-9, "{row}, {mark}");
    }
}
