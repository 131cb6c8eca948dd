//! The instrument at work: takes its acts one after another, speaks at the speed of its line, and answers.
//!
//! It knows records as bytes and nothing of what they mean.

use std::collections::VecDeque;
use std::io;
use std::time::Duration;

use tokio::sync::{mpsc, watch};
use tokio::time::{Instant, sleep, sleep_until, timeout_at};

use super::act::{Act, Frame, Spoil, damaged, noise, truncated};
use super::ear::{Echo, Manners, Speaks, Told, Understood, understand};
use super::port::{LivePort, Place, Port, Written};
use super::rng::Chance;
use super::wire::Wire;
use super::{Register, Seen, Sort, Tally};

/// How long an instrument waits for the answer to a record. Common practice, no source.
const ANSWER_MAX_WAIT: Duration = Duration::from_secs(3);
/// How often it sends a record that is not answered well. Common practice, no source.
const TRIES_MAX: u32 = 3;
/// Between a record and its repetition: less than a person needs to shoot again.
const REPEAT_AFTER: Duration = Duration::from_millis(300);
/// How often it is looked whether a listener has read what was sent.
const UNREAD_LOOK: Duration = Duration::from_millis(20);
/// The most taken from the listener at once.
const READ_MAX_BYTES: usize = 4096;
/// Pieces from the listener that wait; more would mean that it talks without end.
const INBOX_MAX: usize = 64;

/// How fast it speaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tempo {
    /// At the speed of its line.
    Line(Wire),
    /// As fast as it is taken.
    Full,
}

/// What the thread of an instrument is given.
pub(super) struct Work {
    pub(super) place: Place,
    pub(super) tempo: Tempo,
    pub(super) manners: Manners,
    pub(super) status: watch::Receiver<Option<Frame>>,
    pub(super) acts: mpsc::Receiver<Vec<Act>>,
    pub(super) stop: watch::Receiver<bool>,
    pub(super) chance: Chance,
    /// It has done something since it was last idle.
    pub(super) busy: bool,
    pub(super) register: Register,
    pub(super) observe: Box<dyn FnMut(Seen<'_>) + Send>,
}

/// Why a port is closed.
enum End {
    /// There is nothing more to do.
    Finished,
    /// The cable is pulled for this long.
    Unplugged(Duration),
}

/// Works until all acts are done and no more can come, or until told to stop.
pub(super) async fn work(mut work: Work, port: Port, guard: Box<dyn std::any::Any + Send>) -> io::Result<Tally> {
    let mut stop = work.stop.clone();
    let mut tally = Tally::default();
    tokio::select! {
        outcome = open_and_close(&mut work, port, guard, &mut tally) => outcome?,
        // The wish, or a handle that was dropped.
        _ = stop.wait_for(|asked| *asked) => {}
    }
    Ok(tally)
}

async fn open_and_close(
    work: &mut Work,
    mut port: Port,
    mut guard: Box<dyn std::any::Any + Send>,
    tally: &mut Tally,
) -> io::Result<()> {
    let mut waiting = VecDeque::new();
    work.place = port.same_again(&work.place);
    loop {
        let live = port.live()?;
        let (inbox, heard) = mpsc::channel(INBOX_MAX);
        let end = {
            let mut speaker = Speaker { work, port: &live, heard, unread: Vec::new(), free_at: Instant::now(), tally };
            tokio::select! {
                end = speaker.act_on(&mut waiting) => end?,
                error = hear(&live, inbox) => return Err(error),
            }
        };
        tally.undelivered += live.drain().await?;
        drop(live);
        drop(guard);
        match end {
            End::Finished => return Ok(()),
            End::Unplugged(time) => sleep(time).await,
        }
        port = Port::open(&work.place)?;
        guard = (work.register)(&port.registered_as())?;
        (work.observe)(Seen::At(&port.name()));
    }
}

/// Hands on what the listener says. Ends with an error only.
async fn hear(port: &LivePort, inbox: mpsc::Sender<Vec<u8>>) -> io::Error {
    let mut buffer = vec![0; READ_MAX_BYTES];
    loop {
        match port.read(&mut buffer).await {
            Ok(length) => {
                if inbox.send(buffer[..length].to_vec()).await.is_err() {
                    std::future::pending::<()>().await;
                }
            }
            Err(error) => return error,
        }
    }
}

/// Something from the listener.
enum Request {
    /// What it said.
    Told(Told),
    /// What is to be echoed.
    Echo(Vec<u8>),
}

struct Speaker<'w> {
    work: &'w mut Work,
    port: &'w LivePort,
    heard: mpsc::Receiver<Vec<u8>>,
    /// What was heard and not understood yet.
    unread: Vec<u8>,
    /// When the line has carried all that was sent.
    free_at: Instant,
    tally: &'w mut Tally,
}

impl Speaker<'_> {
    async fn act_on(&mut self, waiting: &mut VecDeque<Act>) -> io::Result<End> {
        loop {
            let Some(act) = waiting.pop_front() else {
                if std::mem::take(&mut self.work.busy) {
                    (self.work.observe)(Seen::Idle);
                }
                match self.more().await? {
                    Some(acts) => waiting.extend(acts),
                    None => return Ok(End::Finished),
                }
                continue;
            };
            self.work.busy = true;
            match act {
                Act::Send(frame) => self.deliver(&frame, None).await?,
                Act::Spoil(frame, spoil) => self.deliver(&frame, Some(spoil)).await?,
                Act::Burst(frames) => {
                    let bytes: Vec<u8> = frames.iter().flat_map(|frame| frame.bytes.iter().copied()).collect();
                    self.tally.bursts += 1;
                    self.tally.records += frames.len() as u64;
                    self.put(&bytes, Sort::Burst, Tempo::Full).await?;
                }
                Act::Noise(length) => {
                    let bytes = noise(length, &mut self.work.chance);
                    self.tally.noise += 1;
                    self.say(&bytes, Sort::Noise).await?;
                }
                Act::Pause(time) => self.pause(time).await?,
                Act::UntilRead => {
                    while self.port.unread()? > 0 {
                        self.pause(UNREAD_LOOK).await?;
                    }
                }
                Act::Unplug(time) => {
                    self.tally.unplugged += 1;
                    return Ok(End::Unplugged(time));
                }
            }
        }
    }

    /// The next acts, answering meanwhile; `None` when no more can come.
    async fn more(&mut self) -> io::Result<Option<Vec<Act>>> {
        loop {
            let request = tokio::select! {
                acts = self.work.acts.recv() => return Ok(acts),
                request = next_request(&mut self.heard, &mut self.unread, &self.work.manners, None) => request,
            };
            self.respond(request).await?;
        }
    }

    /// Does nothing for a while, but answers. A command to measure cuts it short.
    async fn pause(&mut self, time: Duration) -> io::Result<()> {
        let end = Instant::now() + time;
        while let Some(request) = self.request_before(end, None).await {
            if matches!(request, Request::Told(Told::Measure)) {
                break;
            }
            self.respond(request).await?;
        }
        Ok(())
    }

    /// Sends a record, spoilt or not, and again until it is answered well, if it is answered at all.
    async fn deliver(&mut self, frame: &Frame, spoil: Option<Spoil>) -> io::Result<()> {
        if self.work.manners.speaks == Speaks::WhenPolled {
            self.wait_to_be_asked().await?;
        }
        let first = match spoil {
            None => {
                self.tally.records += 1;
                self.say(&frame.bytes, Sort::Record).await?
            }
            Some(Spoil::Damage) => {
                self.tally.damaged += 1;
                let bytes = damaged(&frame.bytes, &mut self.work.chance);
                self.say(&bytes, Sort::Damaged).await?
            }
            Some(Spoil::Truncate) => {
                self.tally.truncated += 1;
                let bytes = truncated(&frame.bytes, &mut self.work.chance);
                self.say(&bytes, Sort::Truncated).await?
            }
            Some(Spoil::Repeat) => {
                self.tally.records += 1;
                self.say(&frame.bytes, Sort::Record).await?
            }
        };
        if first == Written::All {
            self.until_answered(frame).await?;
        }
        if spoil == Some(Spoil::Repeat) {
            self.pause(REPEAT_AFTER).await?;
            self.tally.repeated += 1;
            if self.say(&frame.bytes, Sort::Repeated).await? == Written::All {
                self.until_answered(frame).await?;
            }
        }
        Ok(())
    }

    /// Waits for the answer, and sends the record again as long as it is not a good one.
    async fn until_answered(&mut self, frame: &Frame) -> io::Result<()> {
        if frame.answers.is_none() {
            return Ok(());
        }
        for attempt in 1..=TRIES_MAX {
            let patience = Instant::now() + ANSWER_MAX_WAIT;
            let answer = loop {
                match self.request_before(patience, Some(frame)).await {
                    None => break None,
                    Some(Request::Told(told @ (Told::Good | Told::Bad))) => break Some(told),
                    Some(other) => self.respond(other).await?,
                }
            };
            match answer {
                Some(Told::Good) => {
                    self.tally.acknowledged += 1;
                    return Ok(());
                }
                _ if attempt == TRIES_MAX => break,
                _ => {
                    self.tally.again += 1;
                    self.say(&frame.bytes, Sort::Again).await?;
                }
            }
        }
        self.tally.unanswered += 1;
        Ok(())
    }

    async fn wait_to_be_asked(&mut self) -> io::Result<()> {
        loop {
            match next_request(&mut self.heard, &mut self.unread, &self.work.manners, None).await {
                Request::Told(Told::Poll | Told::Measure) => return Ok(()),
                other => self.respond(other).await?,
            }
        }
    }

    /// Answers what can be answered at any time.
    async fn respond(&mut self, request: Request) -> io::Result<()> {
        match request {
            Request::Echo(bytes) => {
                self.say(&bytes, Sort::Echo).await?;
            }
            Request::Told(Told::Status) => {
                let frame = self.work.status.borrow().clone();
                if let Some(frame) = frame {
                    self.tally.states += 1;
                    self.say(&frame.bytes, Sort::Status).await?;
                }
            }
            Request::Told(Told::Good | Told::Bad | Told::Measure | Told::Poll | Told::Nothing) => {}
        }
        Ok(())
    }

    async fn request_before(&mut self, deadline: Instant, frame: Option<&Frame>) -> Option<Request> {
        let request = next_request(&mut self.heard, &mut self.unread, &self.work.manners, frame);
        timeout_at(deadline, request).await.ok()
    }

    async fn say(&mut self, bytes: &[u8], sort: Sort) -> io::Result<Written> {
        self.put(bytes, sort, self.work.tempo).await
    }

    /// Writes bytes as a line of this speed would carry them: a byte is there when its last bit is.
    async fn put(&mut self, bytes: &[u8], sort: Sort, tempo: Tempo) -> io::Result<Written> {
        let mut done = 0;
        let begin = self.free_at.max(Instant::now());
        while done < bytes.len() {
            let ready = match tempo {
                Tempo::Full => bytes.len(),
                Tempo::Line(wire) => {
                    sleep_until(begin + wire.time_for(done + 1)).await;
                    wire.bytes_after(begin.elapsed()).clamp(done + 1, bytes.len())
                }
            };
            match self.port.write(&bytes[done..ready]).await? {
                Written::All => done = ready,
                Written::Part(length) => {
                    done += length;
                    break;
                }
            }
        }
        if let Tempo::Line(wire) = tempo {
            self.free_at = begin + wire.time_for(done);
        }
        self.tally.bytes += done as u64;
        (self.work.observe)(Seen::Sent { bytes: &bytes[..done], sort });
        if done < bytes.len() {
            self.tally.cut_off += 1;
            return Ok(Written::Part(done));
        }
        Ok(Written::All)
    }
}

/// The next thing that the listener says; waits for it. `frame` is the record whose answer is awaited. May be dropped
/// while it waits without losing anything.
async fn next_request(
    heard: &mut mpsc::Receiver<Vec<u8>>,
    unread: &mut Vec<u8>,
    manners: &Manners,
    frame: Option<&Frame>,
) -> Request {
    loop {
        let answers = frame.and_then(|frame| frame.answers.as_ref());
        let good = answers.map(|answers| (&*answers.good, Told::Good));
        let bad = answers.and_then(|answers| answers.bad.as_deref()).map(|bad| (bad, Told::Bad));
        let commands = manners.commands.iter().map(|(bytes, told)| (&**bytes, *told));
        match understand(good.into_iter().chain(bad).chain(commands), unread) {
            Understood::As(told, length) => {
                unread.drain(..length);
                return Request::Told(told);
            }
            Understood::Unknown(length) => {
                unread.drain(..length);
                continue;
            }
            Understood::More => {}
        }
        match heard.recv().await {
            Some(bytes) => {
                unread.extend_from_slice(&bytes);
                if manners.echo == Echo::On {
                    return Request::Echo(bytes);
                }
            }
            // Hearing has ended, and with it soon everything.
            None => std::future::pending().await,
        }
    }
}
