//! Plays a capture as if it arrived now, or as fast as it is taken.

use std::fs::File;
use std::io::BufReader;
use std::path::Path;
use std::time::Duration;

use tokio::time::{Instant, sleep_until};

use super::capture::{CaptureError, CaptureReader, Captured};
use super::queue::EventSender;
use super::reader::{asked_to_end, now_us};
use super::stop::Stop;
use super::trouble::Trouble;
use super::{LinkEvent, Pace, Simulated};

/// How much of bare bytes is a chunk: as much as a tty hands out at once.
const PIECE_BYTES: usize = 4096;

/// Plays the file to its end, or until asked to stop. Chunks carry the times at which they arrived once.
pub(super) async fn play(path: &Path, pace: Pace, events: &EventSender, stop: &Stop) {
    let what = format!("capture {}", path.display());
    let opened = File::open(path).map_err(|error| Trouble::of_file(what.clone(), &error)).and_then(|file| {
        let reader = CaptureReader::new(BufReader::with_capacity(PIECE_BYTES, file));
        reader.map_err(|error| Trouble::Other { what: what.clone(), why: error.to_string() })
    });
    match opened {
        Err(why) => events.push(LinkEvent::Waiting { why }),
        Ok(reader) => {
            tokio::select! {
                () = play_lines(reader, what, pace, events) => {}
                () = asked_to_end(events, stop) => return,
            }
        }
    }
    events.push(LinkEvent::Finished);
}

async fn play_lines(mut reader: CaptureReader<BufReader<File>>, what: String, pace: Pace, events: &EventSender) {
    let header = reader.header();
    let simulated = if header.is_some_and(|header| header.simulated) { Simulated::Yes } else { Simulated::No };
    let began_us = header.map(|header| header.began_us);
    let what = header.map_or(what.clone(), |header| format!("{what} of {}", header.link));
    let open = || events.push(LinkEvent::Opened { what: what.clone(), simulated });
    let lose = |why| {
        events.push(LinkEvent::Lost { why });
        open();
    };
    events.is_patient();
    open();
    if began_us.is_none() && pace == Pace::Recorded {
        let what = "the file holds bytes without their times: it is played at full speed".to_owned();
        events.push(LinkEvent::Warned { what });
    }
    let began = Instant::now();
    loop {
        events.room().await;
        // At full speed nothing else here ever waits, and a wish to stop would not be heard.
        tokio::task::yield_now().await;
        let captured = match reader.next(now_us) {
            Ok(Some(captured)) => captured,
            Ok(None) => return,
            // Bytes are missing here, so nothing may be glued over the place.
            Err(error @ CaptureError::Line { .. }) => {
                lose(error.to_string());
                continue;
            }
            Err(error) => {
                events.push(LinkEvent::Lost { why: error.to_string() });
                return;
            }
        };
        let (Captured::Bytes { at_us, .. } | Captured::Gap { at_us, .. }) = captured;
        if let (Pace::Recorded, Some(began_us)) = (pace, began_us) {
            let offset = u64::try_from(at_us.saturating_sub(began_us)).unwrap_or(0);
            // Beyond what a clock can hold there is nothing to wait for.
            if let Some(due) = began.checked_add(Duration::from_micros(offset)) {
                sleep_until(due).await;
            }
        }
        match captured {
            Captured::Bytes { at_us, bytes } => events.push(LinkEvent::Chunk { at_us, bytes }),
            Captured::Gap { why, .. } => lose(why),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::capture::CaptureWriter;
    use super::super::queue::{Gone, queue};
    use super::*;

    async fn played(path: &Path, pace: Pace) -> Vec<LinkEvent> {
        let (sender, mut receiver) = queue();
        play(path, pace, &sender, &Stop::new()).await;
        sender.end(Gone::Ended);
        std::iter::from_fn(|| receiver.try_recv()?.ok()).collect()
    }

    fn captured(dir: &tempfile::TempDir) -> std::path::PathBuf {
        let path = dir.path().join("run.capture");
        let mut writer = CaptureWriter::create(&path, "tcp converter:4001", Simulated::Yes, 5_000_000).unwrap();
        writer.bytes(6_000_000, b"one").unwrap();
        writer.gap(8_500_000, "it went").unwrap();
        writer.bytes(65_000_000, b"two").unwrap();
        path
    }

    #[tokio::test(start_paused = true)]
    async fn at_recorded_pace_it_takes_as_long_as_it_took() {
        let dir = tempfile::tempdir().unwrap();
        let path = captured(&dir);
        let what = format!("capture {} of tcp converter:4001", path.display());
        let opened = || LinkEvent::Opened { what: what.clone(), simulated: Simulated::Yes };
        let expected = [
            opened(),
            LinkEvent::Chunk { at_us: 6_000_000, bytes: b"one".to_vec() },
            LinkEvent::Lost { why: "it went".into() },
            opened(),
            LinkEvent::Chunk { at_us: 65_000_000, bytes: b"two".to_vec() },
            LinkEvent::Finished,
        ];
        for (pace, took_s) in [(Pace::Recorded, 60), (Pace::Full, 0)] {
            let began = Instant::now();
            assert_eq!(played(&path, pace).await, expected);
            assert_eq!(began.elapsed().as_secs(), took_s);
        }
    }

    #[tokio::test(start_paused = true)]
    async fn a_file_that_is_no_capture_is_played_as_bytes_and_one_that_is_missing_is_said() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("bytes");
        let content: Vec<u8> = (0..PIECE_BYTES * 2 + 1).map(|i| i as u8).collect();
        std::fs::write(&path, &content).unwrap();
        let events = played(&path, Pace::Recorded).await;
        assert!(matches!(&events[1], LinkEvent::Warned { .. }));
        let heard: Vec<u8> = events
            .iter()
            .filter_map(|event| if let LinkEvent::Chunk { bytes, .. } = event { Some(bytes.clone()) } else { None })
            .flatten()
            .collect();
        assert!(heard == content);
        let what = format!("capture {}", dir.path().join("absent").display());
        assert_eq!(
            played(&dir.path().join("absent"), Pace::Full).await,
            [LinkEvent::Waiting { why: Trouble::Missing { what } }, LinkEvent::Finished]
        );
    }

    #[tokio::test(start_paused = true)]
    async fn bytes_are_not_glued_over_a_damaged_line() {
        let dir = tempfile::tempdir().unwrap();
        let path = captured(&dir);
        let text = std::fs::read_to_string(&path).unwrap().replace("{\"us\":1000000", "{\"u");
        std::fs::write(&path, text).unwrap();
        let events = played(&path, Pace::Full).await;
        assert!(
            matches!(&events[1], LinkEvent::Lost { why } if why.starts_with("line 2 of the capture is damaged")),
            "{events:?}"
        );
        assert!(matches!(&events[2], LinkEvent::Opened { .. }));
    }
}
