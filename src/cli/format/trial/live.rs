//! A live port: its frames as they come, until Ctrl-C. What the format says is sent to the instrument, and nothing else.

use tokio::time::sleep;

use super::{Stopped, Trial};
use crate::book::moment::Moment;
use crate::cli::polls::{Polls, TICK};
use crate::cli::signals::stop_on_signals;
use crate::cli::{Failure, source};
use crate::config::Given;
use crate::daemon::{Clock, SystemClock};
use crate::link::{self, EventReceiver, Gone, LinkEvent, LinkHandle, Stop};

/// Listens until told to stop.
pub(super) fn listen(given: Given, trial: &mut Trial) -> Result<(), Stopped> {
    let spec = source::link(given, Some(&trial.format()))?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    runtime.block_on(async {
        let stop = Stop::new();
        stop_on_signals(&stop)?;
        let (link, events) = link::start(spec, stop);
        let polls = Polls::new(trial.format());
        Live { trial, link, polls, ever_open: false }.run(events).await
    })
}

struct Live<'t> {
    trial: &'t mut Trial,
    link: LinkHandle,
    polls: Polls,
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
                self.ever_open = true;
                let greeting = self.polls.opened();
                self.send_all(&greeting)
            }
            LinkEvent::Chunk { at_us, bytes } => {
                let replies = self.trial.push(&bytes, Moment::from_us(at_us))?;
                self.send_all(&replies)
            }
            LinkEvent::Lost { why } => {
                self.polls.closed();
                self.trial.closed(now())?;
                self.trial.note(&why)
            }
            LinkEvent::Waiting { why } if !self.ever_open => Err(Failure::input(why).into()),
            LinkEvent::Waiting { why } => self.trial.note(&why.to_string()),
            LinkEvent::Warned { what } => self.trial.note(&what),
            LinkEvent::StoodStill { .. } | LinkEvent::Finished => Ok(()),
        }
    }

    fn tick(&mut self) -> Result<(), Stopped> {
        let replies = self.trial.silence(now())?;
        self.send_all(&replies)?;
        let due = self.polls.due();
        self.send_all(&due)
    }

    fn send_all(&mut self, messages: &[Vec<u8>]) -> Result<(), Stopped> {
        for bytes in messages {
            let shown = bytes.escape_ascii();
            match self.link.send(bytes.clone()) {
                Ok(()) => self.trial.note(&format!("sent {shown}"))?,
                Err(error) => self.trial.note(&format!("{error}: {shown}"))?,
            }
        }
        Ok(())
    }
}

fn now() -> Moment {
    SystemClock::new().wall()
}
