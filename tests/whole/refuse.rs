//! Bad input: one sentence that names the place, what was found and what would do; exit code 2; nothing left behind.

use crate::names;
use crate::port::Level;
use crate::program::run;

/// A good `listen`, to which something bad is added.
const LISTEN: &str = "listen --stdin --format comma --job tower.job";

/// Arguments, and what the sentence must say.
const COMMANDS: &[(&str, &[&str])] = &[
    ("listen --stdin --format coma --job tower.job", &["coma", "did you mean comma?"]),
    ("listen --stdin --format ./none.toml --job tower.job", &["./none.toml"]),
    ("listen --port /dev/ttyUSB97 --format comma --job tower.job", &["/dev/ttyUSB97"]),
    ("listen --tcp level.local --format comma", &["--tcp", "level.local"]),
    ("listen --capture none.raw --format comma --job tower.job", &["none.raw"]),
    ("listen --stdin --port /dev/ttyUSB0", &["--stdin", "port and stdin found"]),
    ("listne", &["listne", "listen"]),
    ("tell --job tower.job status", &["nobody is recording tower.job"]),
    ("tell strike 1", &["nobody is listening"]),
    ("verify none.job", &["none.job", "missing"]),
    ("replay none.job", &["none.job", "missing"]),
    ("book none.job", &["none.job", "missing"]),
    ("backup none.job copy.job", &["none.job", "missing"]),
    ("demo --speed 0", &["--speed", "0.1 to 1000"]),
    ("demo --format pakcet", &["pakcet", "did you mean packet?"]),
    ("demo --feet --metres", &["--feet", "--metres"]),
];

/// The same for what is added to a good `listen`.
const SETTINGS: &[(&str, &[&str])] = &[
    ("--class bulding", &["--class", "bulding", "building was probably meant"]),
    ("--unit mtres", &["--unit", "mtres", "metres was probably meant"]),
    ("--unit furlong", &["--unit", "furlong"]),
    ("--also-unit yd", &["--also-unit", "yd"]),
    ("--sequence BFB", &["--sequence", "BFB", "BFFB was probably meant"]),
    ("--known BM-1", &["--known", "BM-1"]),
    ("--known BM-1=52,348", &["--known", "',' found inside a number"]),
    ("--known BM-1=1e3", &["--known", "unknown unit \"e3\""]),
    ("--known BM-1=inf", &["--known", "inf"]),
    ("--staffs three", &["--staffs", "three"]),
    ("--booking rise", &["--booking", "rise-and-fall"]),
    ("--character 9N1", &["--character", "9N1"]),
    ("--baud 0", &["--baud", "0"]),
    ("--baud fast", &["--baud", "fast"]),
    ("--flow xon", &["--flow", "xon"]),
    ("--settings none.toml", &["none.toml"]),
    ("--jsn", &["--jsn", "--json"]),
];

#[test]
fn each_wrong_word_is_named_with_what_would_do() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let added = SETTINGS.iter().map(|(more, said)| (format!("{LISTEN} {more}"), *said));
    for (arguments, said) in COMMANDS.iter().map(|(arguments, said)| (arguments.to_string(), *said)).chain(added) {
        let ended = run(folder, &arguments);
        let shown = format!("closerun {arguments}\n{}{}", ended.out, ended.err);
        assert_eq!((ended.code, &*ended.out), (2, ""), "{shown}");
        assert!(ended.err.starts_with("closerun: "), "{shown}");
        for said in said {
            assert!(ended.err.contains(said), "{said:?} in {shown}");
        }
        // One sentence; a hint and a usage may follow it.
        let first = ended.err.lines().next().unwrap();
        assert!(!first.ends_with('.') && first.len() < 300, "{shown}");
        assert_eq!(names(folder), [""; 0], "nothing is left behind: {shown}");
    }
}

#[test]
fn a_wrong_settings_file_is_shown_at_its_line() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    for (text, said) in [
        ("unit = \"m\"\nclas = \"building\"\n", &["site.toml, line 2, column 1", "clas", "class"][..]),
        ("unit = \"furlong\"\n", &["site.toml, line 1, column 8", "furlong"]),
        ("known = [\"BM-1=52.348\", \"BM-2\"]\n", &["site.toml, line 1, column 25", "BM-2"]),
        ("[serial]\nbaud = \"fast\"\n", &["site.toml, line 2"]),
        ("unit = \n", &["site.toml, line 1"]),
    ] {
        std::fs::write(folder.join("site.toml"), text).unwrap();
        let ended = run(folder, &format!("{LISTEN} --settings site.toml"));
        assert_eq!(ended.code, 2, "{text}: {}", ended.err);
        for said in said {
            assert!(ended.err.contains(said), "{said:?} in {}", ended.err);
        }
        assert_eq!(names(folder), ["site.toml"]);
    }
}

#[test]
fn questions_are_answered_without_an_instrument() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    for (arguments, said) in [
        ("--version", "closerun 0."),
        ("--help", "listen"),
        ("listen --help", "--known <POINT=ELEVATION>"),
        ("formats", "comma"),
        ("classes", "building work"),
        ("tell", "strike [READING]"),
        ("schema lines", "\"$schema\""),
        ("schema book", "\"$schema\""),
    ] {
        let ended = run(folder, arguments);
        assert!(ended.assert_good().out.contains(said), "{arguments}: {}", ended.out);
    }
    let level = Level::on_terminal(folder, "comma");
    let node = std::fs::canonicalize(level.port()).unwrap();
    let ports = run(folder, "ports");
    let line = ports.assert_good().out.lines().find(|line| line.contains(node.to_str().unwrap())).map(str::to_owned);
    assert!(line.is_some_and(|line| line.contains("SIMULATED: a level of the tests")), "{}", ports.out);
}
