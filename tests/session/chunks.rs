//! However the stream is cut into chunks, the events are the same.

use std::sync::Arc;

use closerun::book::event::Body;
use closerun::book::reading::{Reading, Role};
use closerun::protocol::{self, Format};
use closerun::simulate::{Chance, Voice};
use closerun::units::{Measured, Unit};

use crate::rig::{Done, Start, assert_red, play, shipped, want};

/// A record of a shipped format: numbers, staff readings and sight lengths differ from one to the next. Each format has
/// its own decimals, and some insist on a role.
pub(crate) fn record(format: &str, number: u64) -> Vec<u8> {
    let voice = Voice::of(shipped(format));
    let metres = |text: String| Measured::parse(&text, Unit::Metre).unwrap();
    for (staff_decimals, sight_decimals) in [(5, 2), (5, 3), (4, 2), (4, 1)] {
        for role in [None, Some([Role::Fore, Role::Back][number as usize % 2])] {
            let digits = number * 7_919 % 10_u64.pow(staff_decimals);
            let staff = format!("{}.{digits:0width$}", 1 + number % 2, width = staff_decimals as usize);
            let mut reading = Reading::of(metres(staff));
            reading.sight = Some(metres(format!("20.{:0width$}", number % 9, width = sight_decimals)));
            reading.sequence = Some(number % 100);
            reading.role = role;
            if let Ok(frame) = voice.reading(&reading) {
                return frame.bytes;
            }
        }
    }
    panic!("{format} writes no reading");
}

/// Good records with everything between them that a line can bring.
fn stream(format: &str) -> Vec<u8> {
    let mut damaged = record(format, 2);
    let middle = damaged.len() / 2;
    damaged[middle] ^= 0x11;
    let whole = record(format, 4);
    [
        record(format, 1),
        damaged,
        record(format, 3),
        whole.clone(),
        whole,
        b"~noise~\r\n".to_vec(),
        record(format, 5),
        record(format, 6)[..7].to_vec(),
        record(format, 7),
        record(format, 8)[..9].to_vec(),
    ]
    .concat()
}

#[derive(Clone, Copy, PartialEq)]
enum Ear {
    /// One decoder for the whole stream.
    Whole,
    /// Planted: a link that says it was opened anew for each chunk.
    Forgetful,
}

async fn heard_as(format: &Arc<Format>, pieces: Vec<&[u8]>, ear: Ear) -> Done<()> {
    play(Start::speaking(Arc::clone(format)), async move |floor| {
        floor.open().await;
        let at = floor.now();
        for piece in pieces {
            if ear == Ear::Forgetful {
                floor.unplug();
                floor.open().await;
            }
            if !piece.is_empty() {
                floor.line.send_at(at, piece);
            }
        }
        floor.settle().await;
    })
    .await
}

/// Events that hold bytes, and what the crew was told of them.
fn same(one: &Done<()>, other: &Done<()>) -> Result<(), String> {
    other.sound()?;
    let content = |done: &Done<()>| -> Vec<(Body, Vec<u8>)> {
        let link = |body: &Body| matches!(body, Body::LinkChanged { .. });
        done.events.iter().filter(|e| !link(&e.body)).map(|e| (e.body.clone(), e.raw.clone())).collect()
    };
    let (one, other) = (content(one), content(other));
    let differ = one.iter().zip(&other).position(|(a, b)| a != b);
    want(one == other, || format!("differ at {differ:?}: {:?}", differ.map(|at| (&one[at], &other[at]))))
}

#[tokio::test(start_paused = true)]
async fn any_cut_of_the_stream_gives_the_same_events() {
    for (name, _) in protocol::shipped() {
        let format = shipped(name);
        if format.link().silence_ms.is_some() {
            // There a pause ends a record: how the bytes are cut is what they say.
            continue;
        }
        let stream = stream(name);
        let whole = heard_as(&format, vec![&stream], Ear::Whole).await;
        whole.assert_sound();
        assert!(whole.digits().len() >= 3, "{name}: {:?}", whole.digits());

        for cut in 1..stream.len() {
            let (left, right) = stream.split_at(cut);
            let parts = heard_as(&format, vec![left, right], Ear::Whole).await;
            same(&whole, &parts).unwrap_or_else(|why| panic!("{name}, cut at {cut}: {why}"));
        }
        let bytes = heard_as(&format, stream.chunks(1).collect(), Ear::Whole).await;
        same(&whole, &bytes).unwrap_or_else(|why| panic!("{name}, byte by byte: {why}"));
        for seed in 0..250 {
            let mut chance = Chance::seeded(seed);
            let mut rest = &stream[..];
            let mut pieces = Vec::new();
            while !rest.is_empty() {
                let (piece, after) = rest.split_at(1 + chance.below(rest.len().min(40)));
                pieces.push(piece);
                rest = after;
            }
            let parts = heard_as(&format, pieces, Ear::Whole).await;
            same(&whole, &parts).unwrap_or_else(|why| panic!("{name}, seed {seed}: {why}"));
        }

        let (left, right) = stream.split_at(5);
        assert_red(same(&whole, &heard_as(&format, vec![left, right], Ear::Forgetful).await), "differ at");
    }
}
