//! A simulated instrument heard through a real link: what it sends is what arrives, to the byte, whatever happens on
//! the way; and it answers as its format says.

use std::any::Any;
use std::io;
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use closerun::book::moment::Moment;
use closerun::book::reading::{Heard, PointName, Reading};
use closerun::link::{
    self, EventReceiver, Gone, LinkEvent, LinkHandle, LinkSpec, Registry, SerialSettings, Simulated, Stop,
};
use closerun::protocol::{Decoder, Format, shipped};
use closerun::simulate::scene::{Level, Setup, Sight, Staff, shots};
use closerun::simulate::{
    self, Act, Answers, Chance, Echo, Frame, Instrument, Make, Manners, Place, Rates, Seen, Sort, Speaks, Spoil, Tempo,
    Told, Voice, Wire, strew,
};
use closerun::units::Length;

/// Longer than anything here takes; a test that waits so long has failed.
const PATIENCE: Duration = Duration::from_secs(30);

/// All that an instrument did, as it saw it.
#[derive(Clone, Default)]
struct Transcript(Arc<Mutex<Vec<Sent>>>);

type Sent = (Vec<u8>, Sort);

impl Transcript {
    fn bytes(&self) -> Vec<u8> {
        self.0.lock().unwrap().iter().flat_map(|(bytes, _)| bytes.clone()).collect()
    }

    fn count(&self, wanted: Sort) -> u64 {
        self.0.lock().unwrap().iter().filter(|(_, sort)| *sort == wanted).count() as u64
    }

    fn instrument(&self, place: Place, tempo: Tempo, manners: Manners) -> Instrument {
        let log = Arc::clone(&self.0);
        let register = |port: &str| -> io::Result<Box<dyn Any + Send>> {
            Ok(Box::new(Registry::of_user().register(port, "a level of the tests")?))
        };
        let make = Make { place, tempo, manners, status: Some(frame("state\n")), seed: 4 };
        simulate::start(make, Box::new(register), move |seen| {
            if let Seen::Sent { bytes, sort } = seen {
                log.lock().unwrap().push((bytes.to_vec(), sort));
            }
        })
        .unwrap()
    }
}

/// What a link heard, all chunks together.
struct Ear {
    handle: LinkHandle,
    events: EventReceiver,
    bytes: Vec<u8>,
    opened: u32,
}

impl Ear {
    fn serial(path: &str) -> Self {
        let settings = SerialSettings::at(9600);
        Ear::at(LinkSpec::Serial { path: path.to_owned(), settings })
    }

    fn at(spec: LinkSpec) -> Self {
        let (handle, events) = link::start(spec, Stop::new());
        Ear { handle, events, bytes: Vec::new(), opened: 0 }
    }

    async fn next(&mut self) -> Result<LinkEvent, Gone> {
        let event = tokio::time::timeout(PATIENCE, self.events.recv()).await.expect("something happens");
        match &event {
            Ok(LinkEvent::Chunk { bytes, .. }) => self.bytes.extend(bytes),
            Ok(LinkEvent::Opened { simulated, .. }) => {
                assert_eq!(*simulated, Simulated::Yes);
                self.opened += 1;
            }
            _ => {}
        }
        event
    }

    async fn until_heard(&mut self, wanted: &str) {
        while !self.bytes.ends_with(wanted.as_bytes()) {
            self.next().await.expect("the link lives");
        }
    }

    async fn until_lost(&mut self) {
        while !matches!(self.next().await.expect("the link lives"), LinkEvent::Lost { .. }) {}
    }

    async fn stop(mut self) -> Vec<u8> {
        self.handle.stop();
        while self.next().await.is_ok() {}
        self.bytes
    }
}

fn frame(text: &str) -> Frame {
    Frame::unanswered(text.as_bytes().to_vec())
}

fn answered(text: &str) -> Frame {
    let answers = Answers { good: b"OK\n".to_vec(), bad: Some(b"NO\n".to_vec()) };
    Frame { bytes: text.as_bytes().to_vec(), answers: Some(answers) }
}

fn terminal() -> Place {
    Place::PseudoTerminal { link: None }
}

#[tokio::test]
async fn with_every_fault_the_bytes_sent_are_the_bytes_heard_and_the_faults_are_counted() {
    let dir = tempfile::tempdir().unwrap();
    let link: PathBuf = dir.path().join("level");
    let mut acts: Vec<Act> = (0..400).map(|n| Act::Send(frame(&format!("{n} {}\n", "x".repeat(n % 50))))).collect();
    let rates = Rates { damage: 0.1, truncate: 0.1, repeat: 0.05, noise: 0.1, silence: 0.0, burst: 0.1 };
    acts = strew(acts, rates, &mut Chance::seeded(8));
    acts.insert(100, Act::Unplug(Duration::from_millis(400)));
    acts.insert(200, Act::Unplug(Duration::from_millis(10)));
    acts.push(Act::Send(frame("the end\n")));
    let wanted = |is: fn(&Act) -> bool| acts.iter().filter(|act| is(act)).count() as u64;
    let damaged = wanted(|act| matches!(act, Act::Spoil(_, Spoil::Damage)));
    let truncated = wanted(|act| matches!(act, Act::Spoil(_, Spoil::Truncate)));
    let repeated = wanted(|act| matches!(act, Act::Spoil(_, Spoil::Repeat)));
    let noise = wanted(|act| matches!(act, Act::Noise(_)));
    let bursts = wanted(|act| matches!(act, Act::Burst(_)));
    assert!(damaged > 0 && truncated > 0 && repeated > 0 && noise > 0 && bursts > 0);

    let transcript = Transcript::default();
    let instrument =
        transcript.instrument(Place::PseudoTerminal { link: Some(link.clone()) }, Tempo::Full, Manners::default());
    assert_eq!(instrument.port(), link.to_str().unwrap());
    let mut ear = Ear::serial(instrument.port());
    instrument.play(acts).unwrap();
    let finished = tokio::task::spawn_blocking(move || instrument.finish().unwrap());
    for _ in 0..3 {
        ear.until_lost().await;
    }
    let tally = finished.await.unwrap();
    assert_eq!(ear.opened, 3);
    assert!(!link.is_symlink(), "the name goes with the instrument");
    let heard = ear.stop().await;
    assert!(heard == transcript.bytes(), "{} bytes heard, {} sent", heard.len(), transcript.bytes().len());
    assert_eq!(
        (tally.damaged, tally.truncated, tally.repeated, tally.noise, tally.bursts, tally.unplugged),
        (damaged, truncated, repeated, noise, bursts, 2)
    );
    assert_eq!(tally.bytes, heard.len() as u64);
    assert_eq!((tally.undelivered, tally.cut_off), (0, 0));
    assert_eq!(tally.records + tally.damaged + tally.truncated, 401);
}

#[tokio::test]
async fn a_record_takes_the_time_that_its_line_takes() {
    let transcript = Transcript::default();
    let wire = Wire { baud: 57_600, bits: 11 };
    let instrument = transcript.instrument(terminal(), Tempo::Line(wire), Manners::default());
    let mut ear = Ear::serial(instrument.port());
    ear.next().await.unwrap();
    let began = Instant::now();
    let record = format!("{}\n", "y".repeat(999));
    instrument.play(vec![Act::Send(frame(&record)), Act::Send(frame("z\n"))]).unwrap();
    ear.until_heard("z\n").await;
    let (took, least) = (began.elapsed(), wire.time_for(1002));
    assert!(took >= least && took < least * 4, "{took:?} for {least:?}");
    assert_eq!(instrument.finish().unwrap().records, 2);
}

#[tokio::test]
async fn what_was_sent_before_anybody_listened_waits_and_what_nobody_reads_is_counted() {
    let transcript = Transcript::default();
    let instrument = transcript.instrument(terminal(), Tempo::Full, Manners::default());
    instrument.play(vec![Act::Send(frame("early\n"))]).unwrap();
    let mut ear = Ear::serial(instrument.port());
    ear.until_heard("early\n").await;
    assert_eq!(ear.stop().await, b"early\n");
    instrument.play(vec![Act::Send(frame("nobody\n"))]).unwrap();
    let tally = tokio::task::spawn_blocking(move || instrument.finish().unwrap()).await.unwrap();
    assert_eq!((tally.bytes, tally.undelivered), (13, 7));
}

#[tokio::test]
async fn over_tcp_one_listener_after_another_is_served() {
    let transcript = Transcript::default();
    let place = Place::Tcp { address: "127.0.0.1:0".to_owned() };
    let instrument = transcript.instrument(place, Tempo::Full, Manners::default());
    let spec = || LinkSpec::Tcp { address: instrument.port().to_owned() };
    let mut first = Ear::at(spec());
    instrument.play(vec![Act::Send(frame("one\n"))]).unwrap();
    first.until_heard("one\n").await;
    first.stop().await;
    let mut second = Ear::at(spec());
    second.next().await.unwrap();
    // The first listener's leaving is only noticed when it is spoken to; a record may go to it, and no later one.
    instrument.play(vec![Act::Pause(Duration::from_millis(200)), Act::Send(frame("two\n"))]).unwrap();
    second.until_heard("two\n").await;
    instrument.play(vec![Act::Unplug(Duration::from_millis(100)), Act::Send(frame("three\n"))]).unwrap();
    second.until_heard("three\n").await;
    assert_eq!(second.opened, 2);
    let tally = tokio::task::spawn_blocking(move || instrument.finish().unwrap()).await.unwrap();
    assert_eq!((tally.records, tally.unplugged), (3, 1));
    assert_eq!(second.stop().await, b"two\nthree\n");
}

#[tokio::test]
async fn a_record_is_sent_again_until_it_is_answered_well() {
    let transcript = Transcript::default();
    let instrument = transcript.instrument(terminal(), Tempo::Full, Manners::default());
    let mut ear = Ear::serial(instrument.port());
    let acts = vec![Act::Send(answered("first\n")), Act::Spoil(answered("second\n"), Spoil::Truncate)];
    instrument.play(acts).unwrap();
    ear.until_heard("first\n").await;
    ear.handle.send(b"OK\n".to_vec()).unwrap();
    while ear.bytes == b"first\n" {
        ear.next().await.unwrap();
    }
    ear.handle.send(b"?? NO\n".to_vec()).unwrap();
    ear.until_heard("second\n").await;
    ear.handle.send(b"OK\n".to_vec()).unwrap();
    let tally = tokio::task::spawn_blocking(move || instrument.finish().unwrap()).await.unwrap();
    assert_eq!((tally.acknowledged, tally.again, tally.unanswered, tally.truncated), (2, 1, 0, 1));
    assert_eq!(ear.stop().await, transcript.bytes());
}

#[tokio::test]
async fn an_instrument_without_an_answer_gives_up_and_goes_on() {
    let transcript = Transcript::default();
    let instrument = transcript.instrument(terminal(), Tempo::Full, Manners::default());
    let mut ear = Ear::serial(instrument.port());
    instrument.play(vec![Act::Send(answered("deaf\n")), Act::Send(frame("next\n"))]).unwrap();
    ear.until_heard("next\n").await;
    let tally = instrument.finish().unwrap();
    assert_eq!((tally.again, tally.unanswered, transcript.count(Sort::Again)), (2, 1, 2));
    assert_eq!(ear.bytes, b"deaf\ndeaf\ndeaf\nnext\n");
}

#[tokio::test]
async fn commands_polls_and_echo_are_answered() {
    let commands = vec![
        (b"M\r".to_vec(), Told::Measure),
        (b"S\r".to_vec(), Told::Status),
        (b"P\r".to_vec(), Told::Poll),
        (b"HELLO\r".to_vec(), Told::Nothing),
    ];
    let transcript = Transcript::default();
    let manners = Manners { commands: commands.clone(), ..Manners::default() };
    let instrument = transcript.instrument(terminal(), Tempo::Full, manners);
    let mut ear = Ear::serial(instrument.port());
    instrument.play(vec![Act::Pause(PATIENCE * 2), Act::Send(frame("shot\n"))]).unwrap();
    ear.next().await.unwrap();
    ear.handle.send(b"HELLO\rS".to_vec()).unwrap();
    ear.handle.send(b"\r".to_vec()).unwrap();
    ear.until_heard("state\n").await;
    ear.handle.send(b"M\r".to_vec()).unwrap();
    ear.until_heard("shot\n").await;
    ear.stop().await;
    assert_eq!(instrument.finish().unwrap().states, 1);

    let manners = Manners { commands, speaks: Speaks::WhenPolled, echo: Echo::On };
    let instrument = transcript.instrument(terminal(), Tempo::Full, manners);
    let mut ear = Ear::serial(instrument.port());
    instrument.play(vec![Act::Send(frame("one\n")), Act::Send(frame("two\n"))]).unwrap();
    ear.next().await.unwrap();
    for record in ["one\n", "two\n"] {
        ear.handle.send(b"P\r".to_vec()).unwrap();
        ear.until_heard(record).await;
    }
    let tally = tokio::task::spawn_blocking(move || instrument.finish().unwrap()).await.unwrap();
    assert_eq!(tally.records, 2);
    assert_eq!(ear.stop().await, b"P\rone\nP\rtwo\n");
}

/// A short run up a stair, as readings.
fn run() -> Vec<simulate::scene::Shot> {
    let sight = |number: i64, distance_mm| Sight {
        point: PointName::new(&format!("TP{number}")).unwrap(),
        elevation: Length::from_mm(52_348 + 700 * number),
        distance: Length::from_mm(distance_mm),
        staff: Staff::A,
    };
    let setups: Vec<Setup> =
        (0..5).map(|n| Setup::new(Length::from_mm(1950), sight(n, 21_300), sight(n + 1, 20_900))).collect();
    shots(&Level::metric(), &setups, "BF".parse().unwrap(), &mut Chance::seeded(3)).unwrap()
}

/// Decodes and answers until so many readings were heard.
async fn readings(ear: &mut Ear, format: &Arc<Format>, count: usize) -> Vec<Reading> {
    let (mut decoder, mut pieces, mut found) = (Decoder::new(Arc::clone(format)), Vec::new(), Vec::new());
    while found.len() < count {
        let Ok(LinkEvent::Chunk { at_us, bytes }) = ear.next().await else { continue };
        decoder.push(&bytes, Moment::from_us(at_us), &mut pieces);
        for piece in pieces.drain(..) {
            if let Some(reply) = piece.reply {
                ear.handle.send(reply).unwrap();
            }
            if let Heard::Reading(reading) = piece.heard {
                found.push(reading);
            }
        }
    }
    found
}

#[tokio::test]
async fn in_every_shipped_format_the_readings_heard_are_the_readings_made() {
    for (name, text) in shipped() {
        let format = Arc::new(Format::parse(text).unwrap());
        if !format.talk().polls.is_empty() {
            // It speaks only when polled: that has a test of its own.
            continue;
        }
        let (voice, shots) = (Voice::of(Arc::clone(&format)), run());
        let acts = shots.iter().map(|shot| Act::Send(voice.shot(shot).unwrap())).collect();
        let instrument = Transcript::default().instrument(terminal(), Tempo::Line(voice.wire()), voice.manners());
        let mut ear = Ear::serial(instrument.port());
        instrument.play(acts).unwrap();
        let heard = readings(&mut ear, &format, shots.len()).await;
        assert_eq!(heard.len(), shots.len(), "{name}");
        for (heard, shot) in heard.iter().zip(&shots) {
            // A format may carry a digit less than the level has; it is rounded then, and never by more.
            let rounded = heard.staff.value() - shot.reading.staff.value();
            assert!(rounded.abs() <= Length::from_um(50), "{name}: {rounded:?}");
        }
        ear.stop().await;
        assert_eq!(instrument.finish().unwrap().records, shots.len() as u64, "{name}");
    }
}

#[tokio::test]
async fn in_a_format_with_answers_every_record_arrives_though_some_are_damaged() {
    let format = Arc::new(Format::parse(ANSWERED).unwrap());
    let (voice, shots) = (Voice::of(Arc::clone(&format)), run());
    let acts = shots.iter().zip(0..).map(|(shot, place)| {
        let frame = voice.shot(shot).unwrap();
        if place % 3 == 1 { Act::Spoil(frame, Spoil::Damage) } else { Act::Send(frame) }
    });
    let instrument = Transcript::default().instrument(terminal(), Tempo::Full, voice.manners());
    let mut ear = Ear::serial(instrument.port());
    instrument.play(acts.collect()).unwrap();
    let heard = readings(&mut ear, &format, shots.len()).await;
    let numbers: Vec<_> = heard.iter().map(|reading| reading.sequence).collect();
    assert_eq!(numbers, shots.iter().map(|shot| shot.reading.sequence).collect::<Vec<_>>());
    let tally = tokio::task::spawn_blocking(move || instrument.finish().unwrap()).await.unwrap();
    assert_eq!((tally.damaged, tally.acknowledged, tally.unanswered), (3, 10, 0));
    ear.stop().await;
}

/// An invented format whose instrument waits for answers.
const ANSWERED: &str = r#"
format = 1
name = "answered"
title = "sentences that are answered"
[frame]
kind = "delimited"
start = "@"
end = "\n"
[[check]]
kind = "crc"
name = "CRC-16/IBM-3740"
form = "hex"
after = "*"
[[record]]
name = "shot"
kind = "reading"
layout = "separated"
separator = ","
fields = [{ is = "integer", means = "sequence" }, { is = "decimal", means = "staff", unit = "m", decimals = 4 }]
[talk]
acknowledge = { good = "OK {sequence}\n", bad = "NO\n", resent = "sequence" }
"#;

#[test]
fn a_stopped_instrument_is_registered_no_more() {
    let transcript = Transcript::default();
    let instrument = transcript.instrument(terminal(), Tempo::Full, Manners::default());
    let port = instrument.port().to_owned();
    assert!(Registry::of_user().holds(&port));
    assert!(link::ports().iter().any(|listed| listed.path == port && listed.kind.to_string().starts_with("SIMULATED")));
    instrument.play(vec![Act::Pause(PATIENCE * 2)]).unwrap();
    instrument.stop().unwrap();
    assert!(!Registry::of_user().holds(&port));
}
