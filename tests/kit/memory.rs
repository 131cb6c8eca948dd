//! Memory stays where it is, however long a capture: far below what a capture of any length may take.
#![cfg(target_os = "linux")]

use std::fs::File;
use std::io::Write;
use std::path::Path;
use std::process::Command;

use super::program::command;

/// What reading a capture of any length may take, the pages of an unoptimised program's code among it.
const MOST_KB: u64 = 60_000;

/// What a long capture may take beyond a short one where it is kept: the store's cache of 8 MiB fills, and then no more.
const KEPT_KB: u64 = 12_000;

const MB: usize = 1_000_000;

/// The peak of memory of the program while `bytes` of a capture that never seems to end come through a named pipe, taken
/// when it has read all but what the pipe holds.
fn peak_kb(folder: &Path, arguments: &str, mut bytes: usize, piece: &[u8]) -> Peak {
    let pipe = folder.join("pipe");
    assert!(Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let mut reading = command(folder, arguments).stdout(std::process::Stdio::null()).spawn().unwrap();
    let mut into = File::options().write(true).open(&pipe).unwrap();
    while bytes > 0 {
        into.write_all(piece).unwrap();
        bytes = bytes.saturating_sub(piece.len());
    }
    let status = std::fs::read_to_string(format!("/proc/{}/status", reading.id())).unwrap();
    drop(into);
    assert!(reading.wait().unwrap().success(), "{arguments}");
    std::fs::remove_file(&pipe).unwrap();
    let kb = |of: &str| -> u64 {
        let found = status.lines().find_map(|line| line.strip_prefix(of)?.trim().strip_suffix(" kB"));
        found.expect(of).parse().unwrap()
    };
    Peak { all: kb("VmHWM:"), own: kb("VmHWM:") - kb("RssFile:") }
}

/// The most memory that was held, in kB.
struct Peak {
    all: u64,
    /// Without the pages of the program's file, of which more are touched the more of it has run.
    own: u64,
}

#[test]
fn trying_a_format_takes_the_same_for_a_long_capture_as_for_a_short_one() {
    let folder = tempfile::tempdir().unwrap();
    let records: String = (0..1000).map(|number| format!("R,{number},TP6,1.{number:05},31.42,B\r\n")).collect();
    let peak = |bytes| peak_kb(folder.path(), "format try comma pipe --show none", bytes, records.as_bytes());
    let (short, long) = (peak(MB), peak(8 * MB));
    assert!(long.all < MOST_KB, "{} kB", long.all);
    assert!(long.own < short.own + 1_000, "{} kB, {} kB", short.own, long.own);
}

/// A source that can wait is read no faster than it is kept, so that nothing piles up before the store.
#[test]
fn listening_to_a_long_capture_takes_no_more_than_the_cache_of_its_store() {
    let folder = tempfile::tempdir().unwrap();
    let lines = "format = 1\nname = \"lines\"\ntitle = \"long lines\"\n[frame]\nkind = \"line\"\nend = \"\\n\"\nmax = 65536\n\
        [[record]]\nname = \"shot\"\nkind = \"reading\"\nbegins = \"R\"\nlayout = \"parts\"\n\
        fields = [{ is = \"decimal\", means = \"staff\", unit = \"m\" }]\n\
        [[record]]\nname = \"chatter\"\nkind = \"ignored\"\nbegins = \"#\"\n";
    std::fs::write(folder.path().join("lines.toml"), lines).unwrap();
    let chatter = [&b"#"[..], &vec![b'.'; 60_000], b"\n"].concat();
    let listen = "listen --capture pipe --pace full --format lines.toml --job a.job --quiet --no-page --json";
    let peak = |bytes| {
        let _ = std::fs::remove_file(folder.path().join("a.job"));
        peak_kb(folder.path(), listen, bytes, &chatter)
    };
    let (short, long) = (peak(MB / 10), peak(30 * MB));
    assert!(long.all < MOST_KB, "{} kB", long.all);
    assert!(long.own < short.own + KEPT_KB, "{} kB, {} kB", short.own, long.own);
}
