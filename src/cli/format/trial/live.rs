//! A live port: its frames as they come, until Ctrl-C. What the format says is sent to the instrument, and nothing else.

use std::time::Duration;

use tokio::time::{Instant, sleep};

use super::{Stopped, Trial};
use crate::book::moment::Moment;
use crate::cli::signals::stop_on_signals;
use crate::cli::{Failure, source};
use crate::config::Given;
use crate::daemon::{Clock, SystemClock};
use crate::link::{self, EventReceiver, Gone, LinkEvent, LinkHandle, Stop};

/// How often silence and polls are looked at: a record that ends by silence is not late.
const TICK: Duration = Duration::from_millis(50);

/// Listens until told to stop.
pub(super) fn listen(given: Given, trial: &mut Trial) -> Result<(), Stopped> {
    let spec = source::link(given, Some(&trial.format()))?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    runtime.block_on(async {
        let stop = Stop::new();
        stop_on_signals(&stop)?;
        let (link, events) = link::start(spec, stop);
        Live { trial, link, polled: Vec::new(), open: false, ever_open: false }.run(events).await
    })
}

struct Live<'t> {
    trial: &'t mut Trial,
    link: LinkHandle,
    /// When each poll of the format was last sent.
    polled: Vec<Instant>,
    open: bool,
    ever_open: bool,
}

impl Live<'_> {
    async fn run(mut self, mut events: EventReceiver) -> Result<(), Stopped> {
        loop {
            tokio::select! {
                biased;
                event = events.recv() => match event {
                    Ok(event) => self.take(event)?,
                    Err(Gone::Ended) => return self.trial.closed(now()),
                    Err(died @ Gone::Died { .. }) => return Err(Failure::outcome(died).into()),
                },
                () = sleep(TICK) => self.tick()?,
            }
            self.trial.flush()?;
        }
    }

    fn take(&mut self, event: LinkEvent) -> Result<(), Stopped> {
        match event {
            LinkEvent::Opened { what, simulated } => {
                self.trial.note(&format!("{what}; Ctrl-C ends it"))?;
                self.trial.opened(now(), simulated);
                (self.open, self.ever_open) = (true, true);
                let format = self.trial.format();
                self.polled = vec![Instant::now(); format.talk().polls.len()];
                format.talk().greeting.iter().try_for_each(|greeting| self.send(greeting))
            }
            LinkEvent::Chunk { at_us, bytes } => {
                let replies = self.trial.push(&bytes, Moment::from_us(at_us))?;
                replies.iter().try_for_each(|reply| self.send(reply))
            }
            LinkEvent::Lost { why } => {
                self.open = false;
                self.trial.closed(now())?;
                self.trial.note(&why)
            }
            LinkEvent::Waiting { why } if !self.ever_open => Err(Failure::input(why).into()),
            LinkEvent::Waiting { why } => self.trial.note(&why.to_string()),
            LinkEvent::Warned { what } => self.trial.note(&what),
            LinkEvent::Finished => Ok(()),
        }
    }

    fn tick(&mut self) -> Result<(), Stopped> {
        let replies = self.trial.silence(now())?;
        replies.iter().try_for_each(|reply| self.send(reply))?;
        let format = self.trial.format();
        for (poll, at) in format.talk().polls.iter().zip(0..) {
            let due = Duration::from_secs(u64::from(poll.every_s));
            if self.open && self.polled.get(at).is_some_and(|last: &Instant| last.elapsed() >= due) {
                self.polled[at] = Instant::now();
                self.send(&poll.bytes)?;
            }
        }
        Ok(())
    }

    fn send(&mut self, bytes: &[u8]) -> Result<(), Stopped> {
        let shown = bytes.escape_ascii();
        match self.link.send(bytes.to_vec()) {
            Ok(()) => self.trial.note(&format!("sent {shown}")),
            Err(error) => self.trial.note(&format!("{error}: {shown}")),
        }
    }
}

fn now() -> Moment {
    SystemClock::new().wall()
}
