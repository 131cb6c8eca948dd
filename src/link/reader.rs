//! The one loop of every link that can come and go: open, read and write until it is lost, wait, open again.
//!
//! What is opened is a [`Source`]; this file knows neither serial ports nor sockets. It runs on the port's own thread.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::sync::mpsc;
use tokio::time::{Instant, sleep, timeout};

use super::backoff::{Backoff, Outage, RETRY_MAX};
use super::queue::EventSender;
use super::stop::Stop;
use super::trouble::Trouble;
use super::{LinkEvent, Simulated};

/// The most taken from a port at once; a tty hands out 4 KiB at most, a socket more.
const READ_MAX_BYTES: usize = 64 * 1024;
/// How long the port may take to accept one message. A message fits the kernel's buffer, so longer means that the
/// line's flow control holds it.
const WRITE_MAX_WAIT: Duration = Duration::from_secs(2);
/// How long is still read when asked to stop: long enough for one look at what the kernel holds already.
const LAST_LOOK: Duration = Duration::from_millis(20);

/// How often the port's thread notes that it lives, while nothing comes.
const ALIVE_EVERY: Duration = Duration::from_millis(250);
/// Later than this, the whole program stood still: frozen by somebody, or starved.
const STOOD_STILL: Duration = Duration::from_millis(750);

/// What can be opened again and again.
pub(super) trait Source {
    /// What is read and written.
    type Stream: AsyncRead + AsyncWrite + Unpin;

    /// What it means when the other end is gone.
    const CLOSED: &'static str;

    /// Opens it.
    async fn open(&mut self) -> Result<Opened<Self::Stream>, Trouble>;

    /// What a failed read or write means, in words.
    fn broken(error: &std::io::Error) -> String {
        error.to_string()
    }

    /// Bytes have come: it is open for good. Gives what the user should know by now.
    fn proved(&mut self) -> Option<String> {
        None
    }

    /// The stream is dropped, or was never opened after all: lets go of what was held beside it, within a short time.
    async fn close(&mut self) {}
}

/// A source that was opened.
pub(super) struct Opened<S> {
    pub(super) stream: S,
    /// In words: `serial /dev/ttyUSB0 9600 8N1`.
    pub(super) what: String,
    pub(super) simulated: Simulated,
    /// What the user should know of it.
    pub(super) remarks: Vec<String>,
}

/// The receiving end of [`super::LinkHandle::send`].
pub(super) struct Outgoing {
    pub(super) messages: mpsc::Receiver<Vec<u8>>,
    pub(super) open: Arc<AtomicBool>,
}

/// Keeps a source open and hears it until asked to stop, or until nobody listens.
pub(super) async fn drive<S: Source>(mut source: S, events: &EventSender, mut outgoing: Outgoing, stop: &Stop) {
    let mut backoff = Backoff::new();
    loop {
        let opened = tokio::select! {
            opened = open_patiently(&mut source, &mut backoff, events) => opened,
            () = asked_to_end(events, stop) => {
                source.close().await;
                return;
            }
        };
        let Opened { stream, what, simulated, remarks } = opened;
        // Whoever learns that it is open may speak at once.
        let stale = outgoing.open();
        events.push(LinkEvent::Opened { what, simulated });
        remarks.into_iter().chain(stale).for_each(|what| events.push(LinkEvent::Warned { what }));

        let opened_at = Instant::now();
        let ended = {
            let (read, write) = tokio::io::split(stream);
            let proved = || {
                backoff.proved();
                source.proved()
            };
            let mut reading = std::pin::pin!(read_until_lost(read, events, proved));
            let ended = tokio::select! {
                // First what was heard, then what is to be said, then the wish to stop.
                biased;
                end = &mut reading => Some(end.map_or_else(|error| S::broken(&error), |()| S::CLOSED.to_owned())),
                error = write_what_comes(write, events, &mut outgoing.messages) => Some(S::broken(&error)),
                () = asked_to_end(events, stop) => None,
            };
            if ended.is_none() {
                let _ = timeout(LAST_LOOK, reading).await;
            }
            ended
        };
        // The stream is closed by now: a port that is still held would come back under another number.
        source.close().await;
        let Some(why) = ended else { return };
        outgoing.open.store(false, Ordering::Release);
        events.push(LinkEvent::Lost { why });
        if opened_at.elapsed() >= RETRY_MAX {
            backoff.proved();
        }
        tokio::select! {
            () = sleep(backoff.wait()) => {}
            () = asked_to_end(events, stop) => return,
        }
    }
}

/// Hears what has one beginning and one end: standard input.
pub(super) async fn hear_out(read: impl AsyncRead + Unpin, what: String, events: &EventSender, stop: &Stop) {
    events.is_patient();
    events.push(LinkEvent::Opened { what, simulated: Simulated::No });
    tokio::select! {
        biased;
        end = read_until_lost(read, events, || None) => {
            if let Err(error) = end {
                events.push(LinkEvent::Lost { why: error.to_string() });
            }
            events.push(LinkEvent::Finished);
        }
        () = asked_to_end(events, stop) => {}
    }
}

/// Microseconds since 1970 by the machine's clock: the arrival time of what was just read.
pub(super) fn now_us() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    i64::try_from(since.as_micros()).unwrap_or(i64::MAX)
}

/// Waits for either reason to end.
pub(super) async fn asked_to_end(events: &EventSender, stop: &Stop) {
    tokio::select! {
        () = stop.wait() => {}
        () = events.abandoned() => {}
    }
}

async fn open_patiently<S: Source>(source: &mut S, backoff: &mut Backoff, events: &EventSender) -> Opened<S::Stream> {
    let mut outage = Outage::default();
    loop {
        match source.open().await {
            Ok(opened) => return opened,
            Err(why) => {
                if outage.announces(&why) {
                    events.push(LinkEvent::Waiting { why });
                }
            }
        }
        sleep(backoff.wait()).await;
    }
}

/// Reads until the other end is gone. Each chunk is in the queue before the next wait, so this may be dropped at any.
async fn read_until_lost(
    mut read: impl AsyncRead + Unpin,
    events: &EventSender,
    mut proved: impl FnMut() -> Option<String>,
) -> std::io::Result<()> {
    let mut buffer = vec![0; READ_MAX_BYTES];
    let mut alive = Instant::now();
    loop {
        events.room().await;
        let read = timeout(ALIVE_EVERY, read.read(&mut buffer)).await;
        let stood_still = std::mem::replace(&mut alive, Instant::now()).elapsed();
        if stood_still > STOOD_STILL {
            events.push(LinkEvent::StoodStill { time: stood_still });
        }
        let Ok(read) = read else { continue };
        match read {
            // A tty that is gone reads as nothing for ever, at once: the first such answer is the end.
            Ok(0) => return Ok(()),
            Ok(length) => {
                events.push(LinkEvent::Chunk { at_us: now_us(), bytes: buffer[..length].to_vec() });
                proved().into_iter().for_each(|what| events.push(LinkEvent::Warned { what }));
            }
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
}

/// Writes the messages that come. Returns when the other end is gone; waits for ever once nobody can send any more.
async fn write_what_comes(
    mut write: impl AsyncWrite + Unpin,
    events: &EventSender,
    messages: &mut mpsc::Receiver<Vec<u8>>,
) -> std::io::Error {
    while let Some(message) = messages.recv().await {
        match timeout(WRITE_MAX_WAIT, write.write_all(&message)).await {
            Ok(Ok(())) => {}
            Ok(Err(error)) => return error,
            Err(_) => events.push(LinkEvent::Warned {
                what: format!(
                    "a message of {} bytes to the instrument was not taken within {} s: it may have arrived in part",
                    message.len(),
                    WRITE_MAX_WAIT.as_secs()
                ),
            }),
        }
    }
    std::future::pending().await
}

impl Outgoing {
    /// Lets messages in. What was still waiting answers an instrument of before the outage: it is dropped, and said.
    fn open(&mut self) -> Option<String> {
        let mut stale = 0;
        while self.messages.try_recv().is_ok() {
            stale += 1;
        }
        self.open.store(true, Ordering::Release);
        (stale > 0).then(|| format!("{stale} messages to the instrument went with the lost link"))
    }
}

#[cfg(test)]
mod tests {
    use std::collections::VecDeque;

    use tokio::io::{DuplexStream, duplex};

    use super::super::queue::{EventReceiver, Gone, queue};
    use super::*;

    /// Opens what the test has laid out, and is missing when nothing is left.
    struct Scripted(VecDeque<Result<DuplexStream, Trouble>>, Arc<std::sync::Mutex<Vec<Duration>>>, Instant);

    impl Source for Scripted {
        type Stream = DuplexStream;
        const CLOSED: &'static str = "it went";
        async fn open(&mut self) -> Result<Opened<DuplexStream>, Trouble> {
            self.1.lock().unwrap().push(self.2.elapsed());
            let stream = self.0.pop_front().unwrap_or(Err(missing()))?;
            Ok(Opened { stream, what: "script".into(), simulated: Simulated::Yes, remarks: vec!["mind".into()] })
        }
    }

    fn missing() -> Trouble {
        Trouble::Missing { what: "script".into() }
    }

    struct Run {
        events: EventReceiver,
        messages: mpsc::Sender<Vec<u8>>,
        open: Arc<AtomicBool>,
        stop: Stop,
        attempts: Arc<std::sync::Mutex<Vec<Duration>>>,
    }

    fn run(script: Vec<Result<DuplexStream, Trouble>>) -> Run {
        let (sender, events) = queue();
        let (messages, receiver) = mpsc::channel(4);
        let open = Arc::new(AtomicBool::new(false));
        let attempts = Arc::default();
        let source = Scripted(script.into(), Arc::clone(&attempts), Instant::now());
        let stop = Stop::new();
        let (outgoing, wish) = (Outgoing { messages: receiver, open: Arc::clone(&open) }, stop.clone());
        tokio::spawn(async move {
            drive(source, &sender, outgoing, &wish).await;
            sender.end(Gone::Ended);
        });
        Run { events, messages, open, stop, attempts }
    }

    impl Run {
        async fn expect_opened(&mut self) {
            assert_eq!(
                self.events.recv().await.unwrap(),
                LinkEvent::Opened { what: "script".into(), simulated: Simulated::Yes }
            );
            assert_eq!(self.events.recv().await.unwrap(), LinkEvent::Warned { what: "mind".into() });
        }

        async fn expect_bytes(&mut self, wanted: &[u8]) {
            let mut heard = Vec::new();
            while heard.len() < wanted.len() {
                match self.events.recv().await.unwrap() {
                    LinkEvent::Chunk { bytes, .. } => heard.extend(bytes),
                    other => panic!("{other:?}"),
                }
            }
            assert_eq!(heard, wanted);
        }
    }

    #[tokio::test(start_paused = true)]
    async fn a_lost_link_is_said_tried_with_growing_waits_and_taken_up_again() {
        let (mut first, near) = duplex(64);
        let (_second, near_again) = duplex(64);
        let script = vec![Ok(near), Err(missing()), Err(missing()), Err(missing()), Err(missing()), Ok(near_again)];
        let mut run = run(script);
        run.expect_opened().await;
        first.write_all(b"abc").await.unwrap();
        run.expect_bytes(b"abc").await;
        drop(first);
        assert_eq!(run.events.recv().await.unwrap(), LinkEvent::Lost { why: "it went".into() });
        assert_eq!(run.events.recv().await.unwrap(), LinkEvent::Waiting { why: missing() });
        run.expect_opened().await;
        let attempts: Vec<u128> = run.attempts.lock().unwrap().iter().map(|at| at.as_millis()).collect();
        assert_eq!(attempts, [0, 250, 750, 1750, 3750, 5750], "0.25 s, 0.5, 1, then 2");
    }

    #[tokio::test(start_paused = true)]
    async fn a_link_that_slams_the_door_is_asked_ever_more_rarely() {
        let slammed = (0..5).map(|_| Ok(duplex(8).0)).collect();
        let mut run = run(slammed);
        for _ in 0..5 {
            run.expect_opened().await;
            assert!(matches!(run.events.recv().await.unwrap(), LinkEvent::Lost { .. }));
        }
        let attempts: Vec<u128> = run.attempts.lock().unwrap().iter().map(|at| at.as_millis()).collect();
        assert_eq!(attempts, [0, 250, 750, 1750, 3750]);
    }

    #[tokio::test(start_paused = true)]
    async fn a_message_is_written_and_one_that_is_not_taken_is_said() {
        let (mut far, near) = duplex(4);
        let mut run = run(vec![Ok(near)]);
        run.expect_opened().await;
        run.messages.send(b"ack".to_vec()).await.unwrap();
        let mut answer = [0; 3];
        far.read_exact(&mut answer).await.unwrap();
        assert_eq!(&answer, b"ack");
        run.messages.send(b"too much".to_vec()).await.unwrap();
        assert!(matches!(run.events.recv().await.unwrap(), LinkEvent::Warned { .. }), "the far end took 4 of 8 bytes");
        far.write_all(b"x").await.unwrap();
        run.expect_bytes(b"x").await;
    }

    #[tokio::test(start_paused = true)]
    async fn a_message_of_before_the_outage_is_not_sent_after_it() {
        let (first, near) = duplex(1);
        let (mut second, near_again) = duplex(64);
        let mut run = run(vec![Ok(near), Ok(near_again)]);
        run.expect_opened().await;
        run.messages.send(b"held by the full line".to_vec()).await.unwrap();
        run.messages.send(b"stale".to_vec()).await.unwrap();
        drop(first);
        assert!(matches!(run.events.recv().await.unwrap(), LinkEvent::Lost { .. }));
        assert!(!run.open.load(Ordering::Acquire));
        run.expect_opened().await;
        assert!(matches!(run.events.recv().await.unwrap(), LinkEvent::Warned { .. }));
        assert!(run.open.load(Ordering::Acquire));
        run.messages.send(b"fresh".to_vec()).await.unwrap();
        let mut heard = [0; 5];
        second.read_exact(&mut heard).await.unwrap();
        assert_eq!(&heard, b"fresh");
    }

    #[tokio::test(start_paused = true)]
    async fn what_had_arrived_when_asked_to_stop_is_still_read() {
        let (mut far, near) = duplex(64);
        let mut run = run(vec![Ok(near)]);
        run.expect_opened().await;
        far.write_all(b"half a rec").await.unwrap();
        run.stop.ask();
        run.expect_bytes(b"half a rec").await;
        assert_eq!(run.events.recv().await, Err(Gone::Ended));
    }

    #[tokio::test(start_paused = true)]
    async fn it_ends_while_waiting_for_a_port_when_asked_or_when_nobody_listens() {
        let mut asked = run(vec![]);
        assert_eq!(asked.events.recv().await.unwrap(), LinkEvent::Waiting { why: missing() });
        asked.stop.ask();
        assert_eq!(asked.events.recv().await, Err(Gone::Ended));

        let Run { events, messages, .. } = run(vec![]);
        drop(events);
        messages.closed().await;
    }

    #[tokio::test]
    async fn an_input_with_an_end_finishes() {
        let (sender, mut events) = queue();
        hear_out(&b"one\ntwo\n"[..], "standard input".into(), &sender, &Stop::new()).await;
        assert!(matches!(events.recv().await.unwrap(), LinkEvent::Opened { .. }));
        assert!(matches!(events.recv().await.unwrap(), LinkEvent::Chunk { bytes, .. } if bytes == b"one\ntwo\n"));
        assert_eq!(events.recv().await.unwrap(), LinkEvent::Finished);
    }
}
