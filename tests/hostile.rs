//! No format file makes reading cost more than a fixed amount for each byte, and none makes memory grow beyond its
//! bounds: one that tries is refused, with the reason. Whatever is accepted takes whatever bytes within its budget.
//!
//! The language has no repeat, no recursion and no reference to itself, so the ways to try are few; they are all here.

use std::fmt::Write as _;
use std::sync::Arc;
use std::time::{Duration, Instant};

use closerun::book::moment::Moment;
use closerun::protocol::limits::FRAME_MAX;
use closerun::protocol::{Decoder, Format, Piece, shipped};

/// How many bytes each format is fed: fewer in a development build, in which nothing is inlined.
const FED: usize = if cfg!(debug_assertions) { 16 * 1024 } else { 64 * 1024 };

/// The longest that may take: 50 ms as it is built for use, ten times as long for the fewer bytes of a development build.
const LONGEST: Duration = Duration::from_millis(if cfg!(debug_assertions) { 500 } else { 50 });

/// The most memory in bytes that all of it may add.
const MEMORY_MAX: u64 = 16 * 1024 * 1024;

fn head(frame: &str) -> String {
    format!("format = 1\nname = \"hostile\"\ntitle = \"hostile\"\n[link]\nsilence_ms = 1000\n[frame]\n{frame}\n")
}

const LINE: &str = "kind = \"line\"\nend = \"\\n\"\nmax = 65536";
const STAFF: &str = "{ is = \"decimal\", means = \"staff\", unit = \"m\" }";

fn record(name: &str, keys: &str, fields: &[String]) -> String {
    format!("[[record]]\nname = \"{name}\"\nkind = \"reading\"\n{keys}\nfields = [\n{}\n]\n", fields.join(",\n"))
}

fn numbered(count: usize, one: impl Fn(usize) -> String) -> Vec<String> {
    (0..count).map(one).collect()
}

fn values(count: usize) -> String {
    let pairs: Vec<String> = (0..count).map(|value| format!("V{value:04} = \"x\"")).collect();
    format!("{{ {} }}", pairs.join(", "))
}

/// Formats as hostile as they are accepted.
fn accepted() -> Vec<(&'static str, String)> {
    let choosing = |count: usize| {
        let values = values(count);
        format!("{{ is = \"choice\", name = \"c\", chooses = true, values = {values} }}")
    };
    let separated = "layout = \"separated\"\nseparator = \",\"";
    let records = |count: usize, of: &dyn Fn(usize) -> Vec<String>| -> String {
        (0..count).map(|at| record(&format!("r{at}"), separated, &of(at))).collect()
    };
    let behind = |place: usize, at: usize| {
        let mut fields = numbered(place, |at| format!("{{ is = \"text\", name = \"t{at}\", optional = true }}"));
        fields.push(format!("{{ is = \"literal\", literal = \"AAAAAAAAAAAAAAA{at}\" }}"));
        fields.push(STAFF.to_owned());
        fields
    };
    let keyed = "layout = \"keyed\"\nseparator = \";\"\njoins = \"=\"\nothers = \"ignore\"";
    let crc = "[[check]]\nkind = \"crc\"\nname = \"CRC-64/XZ\"\n".repeat(4);
    let binary = "layout = \"binary\"";
    let bytes = |count: usize| {
        vec![
            "{ is = \"float\", bytes = 4, decimals = 5, means = \"staff\", unit = \"m\" }".to_owned(),
            format!("{{ is = \"skip\", bytes = {count} }}"),
        ]
    };
    let start = "A".repeat(254) + "B";
    vec![
        ("records told apart by a late item", head(LINE) + &records(32, &|at| behind(14, at))),
        (
            "a choice of many values, as long as it likes",
            head(LINE)
                + &record(
                    "r",
                    "layout = \"parts\"",
                    &[format!("{{ is = \"choice\", name = \"c\", values = {} }}", values(256)), STAFF.to_owned()],
                ),
        ),
        ("records chosen by many values", head(LINE) + &records(2, &|at| vec![choosing(200 + at), STAFF.to_owned()])),
        (
            "many fields that may all be missing",
            head(LINE)
                + &record("r", &format!("{separated}\nshort = true"), &{
                    let mut fields = vec![STAFF.to_owned()];
                    fields
                        .extend(numbered(127, |at| format!("{{ is = \"text\", name = \"t{at}\", optional = true }}")));
                    fields
                }),
        ),
        (
            "many keys",
            head(LINE)
                + &record("r", keyed, &{
                    let mut fields =
                        vec!["{ key = \"H\", is = \"decimal\", means = \"staff\", unit = \"m\" }".to_owned()];
                    fields.extend(numbered(120, |at| {
                        format!("{{ key = \"K{at}\", name = \"k{at}\", is = \"text\", optional = true }}")
                    }));
                    fields
                }),
        ),
        (
            "JSON of which everything is passed over",
            head(LINE)
                + &record("r", "layout = \"json\"\nothers = \"ignore\"", &{
                    let mut fields =
                        vec!["{ pointer = \"/h\", is = \"decimal\", means = \"staff\", unit = \"m\" }".to_owned()];
                    fields.extend(numbered(120, |at| {
                        format!("{{ pointer = \"/A{at}\", name = \"a{at}\", is = \"text\", optional = true }}")
                    }));
                    fields
                }),
        ),
        (
            "frames of one length with a start everywhere, and four checks",
            head("kind = \"fixed\"\nstart = [0x41]\nsize = 4096\nmax = 4096")
                + &crc
                + &record("r", binary, &bytes(4095 - 32 - 4)),
        ),
        (
            "lengths that lie",
            head("kind = \"prefixed\"\nstart = [0x41]\nlength = { at = 1, bytes = 2, counts = \"rest\" }\nmax = 65536")
                + &crc
                + &record(
                    "r",
                    "layout = \"parts\"",
                    &[
                        "{ is = \"decimal\", means = \"staff\", unit = \"m\" }".to_owned(),
                        "{ is = \"literal\", literal = \"x\" }".to_owned(),
                        "{ is = \"skip\" }".to_owned(),
                    ],
                ),
        ),
        (
            "a long start that begins again and again",
            head(&format!("kind = \"delimited\"\nstart = \"{start}\"\nend = \"{start}C\"\nmax = 1024"))
                + &record("r", binary, &bytes(8)),
        ),
        (
            "escapes",
            head(
                "kind = \"delimited\"\nstart = [0x7E]\nend = [0x7E]\nescape = { byte = 0x7D, flip = 0x20 }\nmax = 65536",
            ) + &crc
                + &record("r", binary, &bytes(8)),
        ),
        (
            "blocks that are never closed",
            head("kind = \"block\"\nopen = \"A\"\nclose = \"B\"\nend = \"\\n\"\nmax = 65536")
                + "[[record]]\nname = \"r\"\nkind = \"reading\"\nlayout = \"lines\"\nline_end = \"\\n\"\nlines = [{ layout = \"parts\", fields = [{ is = \"decimal\", means = \"staff\", unit = \"m\" }] }]\n",
        ),
        (
            "frames that end with silence",
            head("kind = \"silence\"\nmax = 65536") + &record("r", separated, &[STAFF.to_owned()]),
        ),
        (
            "the shortest bound",
            head("kind = \"delimited\"\nstart = \"A\"\nend = \"B\"\nmax = 8")
                + &record("r", separated, &[STAFF.to_owned()]),
        ),
        (
            "line ends of any kind",
            head("kind = \"line\"\nend = \"any\"\nmax = 65536") + &record("r", separated, &[STAFF.to_owned()]),
        ),
    ]
}

/// Bytes as hostile as they come.
fn inputs() -> Vec<(&'static str, Vec<u8>)> {
    let again = |part: &str| part.bytes().cycle().take(FED).collect::<Vec<u8>>();
    let mut state = 1u64;
    let mut chance = || {
        state = state.wrapping_mul(0x5851_F42D_4C95_7F2D).wrapping_add(0x1405_7B7E_F767_814F);
        (state >> 56) as u8
    };
    let noise: Vec<u8> = (0..FED).map(|_| chance()).collect();
    let escaped = (0..FED / 12).fold(String::from("{"), |mut text, _| {
        let _ = write!(text, "\"\\u0041\\n\":1,");
        text
    });
    vec![
        ("one letter", again("A")),
        ("line ends", again("\n")),
        ("short lines", again("A\n")),
        ("two starts and a line end", again("AAAAAAAAB\n")),
        ("separators", again(",")),
        ("lines of separators", again(&(",".repeat(40) + "\n"))),
        ("nearly the literal", again(&(",".repeat(14) + "AAAAAAAAAAAAAAAC,1\n"))),
        ("values", again("V0255")),
        ("lines of values", again("V0199,1\nV0200,x\n")),
        ("pairs", again("K7=A;H=1;")),
        ("lines of pairs", again("=;=;\n")),
        ("open brackets", again("[")),
        ("open objects", again("{\"h\":{\"h\":")),
        ("short objects", again("{}\n")),
        ("names with escapes", escaped.into_bytes()),
        ("flags", again("~")),
        ("escapes", again("~}]}^")),
        ("nothing but escapes", again("}")),
        ("lengths", again("A\u{1}\u{2}")),
        ("noise", noise),
    ]
}

/// What came of some bytes.
struct Cost {
    steps: u64,
    time: Duration,
}

/// Feeds a decoder in chunks, as a port does; pieces go as they come, as a daemon's do.
fn fed(format: &Arc<Format>, bytes: &[u8], what: &str) -> Cost {
    let (mut decoder, mut pieces) = (Decoder::new(Arc::clone(format)), Vec::<Piece>::new());
    let mut counted = 0;
    let begun = Instant::now();
    for chunk in bytes.chunks(1024) {
        decoder.push(chunk, Moment::from_us(0), &mut pieces);
        counted += pieces.drain(..).map(|piece| piece.raw.len()).sum::<usize>();
        assert!(decoder.pending() <= 2 * FRAME_MAX, "{what}");
    }
    decoder.closed(&mut pieces);
    let time = begun.elapsed();
    counted += pieces.iter().map(|piece| piece.raw.len()).sum::<usize>();
    assert_eq!(counted, bytes.len(), "{what}: every byte in exactly one piece");
    Cost { steps: decoder.steps(), time }
}

/// One test for all, one after the other: times and memory are measured.
#[test]
fn whatever_is_accepted_stays_within_its_budget() {
    let shipped = shipped().iter().map(|(name, text)| (*name, (*text).to_owned()));
    let formats: Vec<(&str, String)> = accepted().into_iter().chain(shipped).collect();
    let inputs = inputs();
    let before = resident();
    let mut most = (Duration::ZERO, String::new());
    for (name, text) in &formats {
        let format = Arc::new(Format::parse(text).unwrap_or_else(|errors| panic!("{name}: {errors}\n{text}")));
        for (kind, bytes) in &inputs {
            let what = format!("{name}, fed {kind}");
            let cost = fed(&format, bytes, &what);
            assert!(cost.time <= LONGEST, "{what}: {:?}", cost.time);
            if cost.time > most.0 {
                most = (cost.time, what.clone());
            }
            let twice = fed(&format, &[&bytes[..], &bytes[..]].concat(), &what);
            linear(cost.steps, twice.steps).unwrap_or_else(|why| panic!("{what}: {why}"));
        }
    }
    println!("the longest: {:?}, {}", most.0, most.1);
    if let Some((before, after)) = before.zip(resident()) {
        println!("memory: {} KiB more", after.saturating_sub(before) / 1024);
        assert!(after.saturating_sub(before) <= MEMORY_MAX, "{before} bytes before, {after} after");
    }
}

/// Twice the bytes may take little more than twice the work.
fn linear(once: u64, twice: u64) -> Result<(), String> {
    let within = twice as f64 <= once as f64 * 2.3 + 1000.0;
    if within { Ok(()) } else { Err(format!("{once} steps, then {twice} for twice the bytes")) }
}

/// Planted: a reader that begins again from the first byte at each chunk. Its work grows with the square.
#[test]
fn work_that_grows_with_the_square_is_seen() {
    let format = Arc::new(Format::parse(&accepted()[0].1).unwrap());
    let steps = |bytes: &[u8]| -> u64 {
        let ends = (1024..=bytes.len()).step_by(1024);
        ends.map(|end| {
            let (mut decoder, mut pieces) = (Decoder::new(Arc::clone(&format)), Vec::new());
            decoder.push(&bytes[..end], Moment::from_us(0), &mut pieces);
            decoder.steps()
        })
        .sum()
    };
    let lines = b"A\n".repeat(FED / 2);
    let why = linear(steps(&lines), steps(&[&lines[..], &lines[..]].concat())).unwrap_err();
    assert!(why.contains("for twice the bytes"), "{why}");
    linear(fed(&format, &lines, "once").steps, fed(&format, &lines.repeat(2), "twice").steps).unwrap();
}

/// Memory of this process in bytes, where the system says so.
fn resident() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM"))?;
    Some(line.split_whitespace().nth(1)?.parse::<u64>().ok()? * 1024)
}

fn refused(text: &str, reason: &str) {
    let begun = Instant::now();
    let errors = Format::parse(text).expect_err(reason).to_string();
    assert!(errors.contains(reason), "{reason:?} was wanted\n{errors}");
    assert!(errors.len() < 64 * 1024, "{} bytes of errors", errors.len());
    assert!(begun.elapsed() <= LONGEST, "{:?} for {reason}", begun.elapsed());
}

#[test]
fn what_would_cost_more_is_refused_with_the_reason() {
    let separated = "layout = \"separated\"\nseparator = \",\"";
    let behind = |place: usize, at: usize| {
        let mut fields = numbered(place, |at| format!("{{ is = \"text\", name = \"t{at}\" }}"));
        fields.push(format!("{{ is = \"literal\", literal = \"{at}\" }}"));
        fields.push(STAFF.to_owned());
        record(&format!("r{at}"), separated, &fields)
    };
    let late: String = (0..32).map(|at| behind(40, at)).collect();
    refused(&(head(LINE) + &late), "looks at a frame");
    let keys: String = (0..30)
        .map(|at| {
            let mut fields = numbered(3, |key| format!("{{ key = \"K{key}\", is = \"literal\", literal = \"{at}\" }}"));
            fields.push("{ key = \"H\", is = \"decimal\", means = \"staff\", unit = \"m\" }".to_owned());
            record(&format!("r{at}"), "layout = \"keyed\"\nseparator = \";\"\njoins = \"=\"", &fields)
        })
        .collect();
    refused(&(head(LINE) + &keys), "walks over it");
    let many: String = (0..33).map(|at| behind(1, at)).collect();
    refused(&(head(LINE) + &many), "33 records found");
    let wide = numbered(129, |at| format!("{{ is = \"text\", name = \"t{at}\" }}"));
    refused(&(head(LINE) + &record("r", separated, &wide)), "129 fields found");
    let long = numbered(257, |_| "{ is = \"literal\", literal = \"x\" }".to_owned());
    refused(&(head(LINE) + &record("r", "layout = \"parts\"", &long)), "257 parts found");
    let choice = format!("{{ is = \"choice\", name = \"c\", values = {} }}", values(257));
    refused(&(head(LINE) + &record("r", separated, &[choice])), "257 values found");
    let absent = numbered(17, |at| format!("\"{at}\"")).join(", ");
    let absent = STAFF.replace(" }", &format!(", absent = [{absent}] }}"));
    refused(&(head(LINE) + &record("r", separated, &[absent])), "17 texts for no value");
    let checks = "[[check]]\nkind = \"xor\"\n".repeat(5);
    refused(&(head(LINE) + &checks + &record("r", separated, &[STAFF.to_owned()])), "5 checks found");
    let huge = "kind = \"line\"\nend = \"\\n\"\nmax = 1000000000";
    refused(&(head(huge) + &record("r", separated, &[STAFF.to_owned()])), "8 to 65536");
    refused(
        &(head("kind = \"line\"\nend = \"\\n\"\nmax = 1") + &record("r", separated, &[STAFF.to_owned()])),
        "8 to 65536",
    );
    let deep = format!("{{ pointer = \"{}\", is = \"decimal\", means = \"staff\", unit = \"m\" }}", "/a".repeat(40));
    refused(&(head(LINE) + &record("r", "layout = \"json\"", &[deep])), "JSON Pointer of at most 31 names");
    let skip = "{ is = \"skip\", bytes = 100000000 }".to_owned();
    refused(&(head(LINE) + &record("r", "layout = \"binary\"", &[skip])), "to be passed over");
}

#[test]
fn a_file_is_no_way_to_spend_time_either() {
    refused(&"#".repeat(64 * 1024 + 1), "at most 65536");
    for text in [
        "[".repeat(60_000),
        "a = ".to_owned() + &"[".repeat(60_000),
        "a = ".to_owned() + &"{b=".repeat(20_000),
        "a.".repeat(30_000),
    ] {
        let begun = Instant::now();
        assert!(Format::parse(&text).is_err());
        assert!(begun.elapsed() <= LONGEST, "{:?} for {:?}..", begun.elapsed(), &text[..10]);
    }
    // What the language does not have cannot be asked for.
    for key in ["repeat = \"*\"", "include = \"other.toml\"", "record_again = \"r\"", "regex = \".*\""] {
        refused(
            &(head(LINE)
                + &record("r", &format!("layout = \"separated\"\nseparator = \",\"\n{key}"), &[STAFF.to_owned()])),
            "unknown",
        );
    }
    // Thousands of faults are not all told.
    let faulty: String = (0..1500).map(|at| format!("[[record]]\nname = \"{at}\"\nkind = \"reading\"\n")).collect();
    refused(&(head(LINE) + &faulty), "more were found");
}
