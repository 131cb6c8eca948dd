//! Killed at any instant, started again, and again: every reading that was ever shown is in the job once, unchanged, in
//! order; the record is whole; and the run goes on at the setup where it was.
//!
//! The program listens to a level that sends some eighty readings a second, so that a kill falls into the opening of the
//! job, into the middle of a commit, of a line, of a record. The instants come from a seed, which is printed. `CLOSERUN_KILLS`
//! sets how often it is killed, `CLOSERUN_SEED` the seed.

use std::time::{Duration, SystemTime, UNIX_EPOCH};

use closerun::book::event::{Body, Event};
use closerun::book::reading::{Heard, Role};
use closerun::book::{Book, Input, decide};
use closerun::simulate::{Act, Chance, Place, Tempo, Wire};
use closerun::store::{Verification, verify};
use serde_json::Value;

use crate::port::Level;
use crate::program::{Program, is_reading, json};
use crate::{events, names};

const KILLS: usize = 40;
/// Kills of one job; then another is begun: a start takes as long after thousands of them as after the first, and the level
/// has enough to send however slow the machine is.
const KILLS_A_JOB: usize = 50;
/// Readings that the level has to send: more than are heard between so many kills.
const SENT_MAX: usize = 20_000;
/// The speed of its line. Faster than they can be kept, and the program would hold them in its queue and lose them with its life.
const WIRE: Wire = Wire { baud: 19_200, bits: 10 };
/// From its start, the program is killed within this time: it opens the job and begins to hear in it.
const EARLY_MS: usize = 150;
/// After a line, it is killed within this time: some commits long.
const LATE_US: usize = 30_000;

/// A reading as the crew saw it.
#[derive(Clone, Debug, PartialEq)]
struct Seen {
    event: u64,
    number: u64,
    staff: String,
    setup: u64,
    role: String,
}

impl Seen {
    fn of(line: &Value) -> Self {
        let number = |name: &str| line[name].as_u64().unwrap();
        let text = |name: &str| line[name].as_str().unwrap().to_owned();
        Seen {
            event: number("event"),
            number: number("number"),
            staff: text("staff"),
            setup: number("setup"),
            role: text("role"),
        }
    }
}

/// The digits of the nth reading that the level sends; no two alike.
fn staff(n: usize) -> String {
    format!("{}.{:05}", 1 + n % 2, n)
}

#[test]
fn whatever_was_shown_before_a_kill_is_in_the_job_after_it() {
    let number = |name: &str| std::env::var(name).ok().map(|text| text.parse::<u64>().expect("a number"));
    let now = SystemTime::now().duration_since(UNIX_EPOCH).unwrap().subsec_nanos();
    let seed = number("CLOSERUN_SEED").unwrap_or(now.into());
    let kills = number("CLOSERUN_KILLS").map_or(KILLS, |kills| kills as usize);
    println!("CLOSERUN_SEED={seed} CLOSERUN_KILLS={kills}");
    let mut chance = Chance::seeded(seed);
    let mut left = kills;
    while left > 0 {
        let kills = left.min(KILLS_A_JOB);
        a_job_killed_again_and_again(kills, &mut chance, seed);
        left -= kills;
    }
}

fn a_job_killed_again_and_again(kills: usize, chance: &mut Chance, seed: u64) {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let job = folder.join("tower.job");
    let place = Place::PseudoTerminal { link: Some(folder.join("port")) };
    let mut level = Level::with_tempo(folder, "comma", place, Tempo::Line(WIRE));
    let shots = (0..SENT_MAX).map(|n| Act::Send(level.frame(&staff(n), "20.00"))).collect();
    level.play(shots);
    let listen = "listen --port port --format comma --job tower.job --known START=50.0000 --json --quiet";

    let mut seen: Vec<Seen> = Vec::new();
    for kill in 0..kills {
        let mut program = Program::start(folder, listen);
        if chance.happens(0.5) {
            // The one wait that is for no thing: the instant of the kill.
            std::thread::sleep(Duration::from_millis(chance.below(EARLY_MS) as u64));
        } else {
            for _ in 0..=chance.below(30) {
                program.line("line of a life that is to be short");
            }
            std::thread::sleep(Duration::from_micros(chance.below(LATE_US) as u64));
        }
        let lines = program.kill();
        for (index, line) in lines.iter().enumerate() {
            match serde_json::from_str::<Value>(line) {
                Ok(line) if is_reading(&line) => seen.push(Seen::of(&line)),
                Ok(_) => {}
                // A line that was cut by the kill was shown to nobody.
                Err(_) => assert_eq!(index + 1, lines.len(), "seed {seed}: {line}"),
            }
        }
        // The record as the kill left it, before anybody mends it.
        if kill % 8 == 7 && job.exists() {
            let verified = verify(&job);
            assert!(matches!(verified, Ok(Verification::Whole { .. })), "seed {seed}, kill {kill}: {verified:?}");
        }
    }
    let mut program = Program::start(folder, listen);
    program.readings(20);
    let ended = program.stop();
    ended.assert_good();
    seen.extend(ended.out.lines().map(json).filter(is_reading).map(|line| Seen::of(&line)));

    assert_eq!(names(folder), ["port", "tower.job"], "one complete file");
    let whole = verify(&job).unwrap();
    assert!(matches!(whole, Verification::Whole { .. }), "seed {seed}: {whole:?}");
    let kept = events(folder, "tower.job");
    println!("{} readings shown, {} events kept", seen.len(), kept.len());
    assert!(seen.len() > kills, "{} readings were shown in {kills} lives", seen.len());
    check(&seen, &kept).unwrap_or_else(|why| panic!("seed {seed}: {why}"));
    planted(&seen, &kept);
}

/// The promise.
fn check(seen: &[Seen], kept: &[Event]) -> Result<(), String> {
    let want = |kept: bool, broken: String| if kept { Ok(()) } else { Err(broken) };
    for (event, wanted) in kept.iter().zip(1..) {
        want(event.seq == wanted, format!("event {} stands where {wanted} was wanted", event.seq))?;
    }
    let readings: Vec<(u64, String)> = kept
        .iter()
        .filter_map(|event| match &event.body {
            Body::Heard { heard: Heard::Reading(reading) } => Some((event.seq, reading.staff.digits().to_string())),
            _ => None,
        })
        .collect();
    // What was shown is there, once, as it was shown.
    for pair in seen.windows(2) {
        want(pair[0].event < pair[1].event, format!("shown twice or out of order: {pair:?}"))?;
    }
    for seen in seen {
        let there = readings.get(seen.number as usize - 1);
        want(
            there == Some(&(seen.event, seen.staff.clone())),
            format!("{seen:?} was shown, and {there:?} is in the job"),
        )?;
    }
    // Nothing is there that was not sent, or twice, or in another order.
    let mut sent = (0..SENT_MAX).map(staff);
    for (seq, digits) in &readings {
        want(sent.any(|staff| staff == *digits), format!("event {seq}: {digits} was not sent there, or not once"))?;
    }
    // The book folded from the file is the book of what was fed, and goes on from setup to setup.
    let folded = Book::fold(kept);
    let mut fed = Book::new();
    for event in kept {
        let body = match &event.body {
            Body::Heard { heard } => {
                let input = Input::Heard { at: event.at, raw: event.raw.clone(), heard: heard.clone() };
                decide(&fed, &input).unwrap().expect("bytes are always kept")
            }
            other => other.clone(),
        };
        fed.apply(&Event { body, ..event.clone() });
    }
    fed.reconsider();
    want(folded == fed, "the folded book is not the book of what was fed".to_owned())?;
    want(folded.runs().len() == 1, format!("{} runs", folded.runs().len()))?;
    let spots: Vec<(u64, &str)> = (1..=readings.len() as u32)
        .map(|number| folded.spot(number).expect("each reading has its place"))
        .map(|spot| (u64::from(spot.setup), word(spot.role)))
        .collect();
    for (index, (setup, role)) in spots.iter().enumerate() {
        let wanted = (index as u64 / 2 + 1, ["back", "fore"][index % 2]);
        want((*setup, *role) == wanted, format!("reading {} is {setup} {role}, {wanted:?} was wanted", index + 1))?;
    }
    for seen in seen {
        let (setup, role) = spots[seen.number as usize - 1];
        want((seen.setup, &*seen.role) == (setup, role), format!("{seen:?} stands at setup {setup} {role} now"))?;
    }
    Ok(())
}

fn word(role: Role) -> &'static str {
    match role {
        Role::Back => "back",
        Role::Fore => "fore",
        Role::Intermediate => "intermediate",
    }
}

/// The promise broken in each way that a kill could break it: the check turns red.
fn planted(seen: &[Seen], kept: &[Event]) {
    let is = |event: &Event| matches!(event.body, Body::Heard { heard: Heard::Reading(_) });
    let shown = kept.iter().position(|event| event.seq == seen[seen.len() / 2].event).unwrap();
    let renumbered = |events: Vec<Event>| -> Vec<Event> {
        events.into_iter().zip(1..).map(|(event, seq)| Event { seq, ..event }).collect()
    };
    let red = |seen: &[Seen], kept: &[Event], because: &str| {
        let why = check(seen, kept).expect_err(because);
        assert!(why.contains(because), "{because}: red for another reason: {why}");
    };
    // Shown before it was kept: it is gone after the kill.
    let lost: Vec<Event> = kept.iter().filter(|event| event.seq != kept[shown].seq).cloned().collect();
    red(seen, &lost, "stands where");
    red(seen, &renumbered(lost), "was shown, and");
    let last = kept.iter().rposition(is).unwrap();
    red(seen, &kept[..last], "was shown, and None is in the job");
    // Kept again after the restart.
    let mut doubled = kept.to_vec();
    doubled.push(kept[last].clone());
    red(seen, &renumbered(doubled), "was not sent there, or not once");
    // Shown again after the restart.
    let again: Vec<Seen> = seen.iter().chain(seen.last()).cloned().collect();
    red(&again, kept, "shown twice");
    // A digit that is not as it was.
    let mut changed = seen.to_vec();
    changed[0].staff = "0.00000".to_owned();
    red(&changed, kept, "was shown, and");
    // A run that began anew at its first setup.
    let mut moved = seen.to_vec();
    moved.last_mut().unwrap().setup = 1;
    red(&moved, kept, "now");
}
