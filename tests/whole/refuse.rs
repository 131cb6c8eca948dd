//! Bad input: one sentence that names the place, what was found and what would do; exit code 2; nothing left behind.

use crate::program::run;

#[test]
fn what_is_not_understood_is_said_in_a_sentence() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("bad.toml"), "unit = \"m\"\nclas = \"building\"\n").unwrap();
    std::fs::write(folder.path().join("other.job"), "not a job of ours, long enough to be looked at").unwrap();
    for (arguments, said) in [
        ("listen --stdin --format coma", "did you mean comma?"),
        ("listen --stdin --class bulding", "building was probably meant"),
        ("listen --stdin --unit mtres", "metres was probably meant"),
        ("listen --stdin --sequence BFB", "BFFB was probably meant"),
        ("listen --stdin --known BM-1", "--known"),
        ("listen --port not-there --format comma", "not-there"),
        ("listen --settings bad.toml", "line 2"),
        ("listen --settings none.toml", "none.toml"),
        ("listen --stdin --format comma --job other.job", "other.job"),
        ("listne", "listen"),
        ("book other.job", "other.job"),
        ("book none.job", "missing"),
        ("verify none.job", "missing"),
        ("replay none.job", "missing"),
        ("tell strike 1", "nobody is listening"),
        ("demo --speed 0", "--speed"),
    ] {
        let ended = run(folder.path(), arguments);
        assert_eq!(ended.code, 2, "{arguments}: {}{}", ended.out, ended.err);
        assert!(ended.err.starts_with("closerun: ") && ended.err.contains(said), "{arguments}: {}", ended.err);
    }
    let left: Vec<_> = std::fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    let jobs = left.iter().filter(|name| name.to_string_lossy().ends_with(".job")).count();
    assert_eq!(jobs, 1, "a refused run leaves no job behind: {left:?}");
    let kept = std::fs::read_to_string(folder.path().join("other.job")).unwrap();
    assert_eq!(kept, "not a job of ours, long enough to be looked at");
}
