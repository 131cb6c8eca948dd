//! The live page as an outlet, and what it asks of the daemon: to pass commands on, and older events.

use std::path::PathBuf;

use tokio::sync::{mpsc, oneshot};

use super::{Outlet, Shown, Standing};
use crate::book::event::{Event, Origin};
use crate::daemon::{Answer, Ask};
use crate::page::{Feed, Said, Upstream, Wanted};
use crate::store::Job;

/// The live page as an outlet.
pub struct PageOutlet(Feed);

impl PageOutlet {
    /// Feeds this page.
    pub fn new(feed: Feed) -> Self {
        PageOutlet(feed)
    }
}

impl Outlet for PageOutlet {
    fn show(&mut self, shown: &Shown<'_>) {
        match shown.event {
            Some(event) => self.0.kept(event, shown.book),
            None => self.0.said(shown.lines, shown.book),
        }
    }

    fn stands(&mut self, standing: &Standing<'_>) {
        self.0.turned(standing.heard_ago);
    }

    fn trouble(&mut self) -> Option<String> {
        self.0.lost()
    }

    fn end(&mut self) {
        self.0.end();
    }
}

/// What the page asks of the daemon.
pub struct Upward {
    asks: mpsc::Sender<Ask>,
    job: PathBuf,
}

impl Upward {
    /// Commands go to `asks`; older events are read from `job`.
    pub fn new(asks: mpsc::Sender<Ask>, job: PathBuf) -> Self {
        Upward { asks, job }
    }
}

impl Upstream for Upward {
    fn say(&self, words: Vec<String>) -> Option<oneshot::Receiver<Said>> {
        let (to, from) = oneshot::channel::<Answer>();
        self.asks.try_send(Ask { words, by: Origin::Page, answer: Some(to) }).ok()?;
        let (answered, said) = oneshot::channel();
        tokio::spawn(async move {
            // A daemon that stops drops its end; so is ours then, and the page says so.
            if let Ok(answer) = from.await {
                let _ = answered.send(match answer {
                    Answer::Done(done) => Said::Done(done),
                    Answer::Refused(why) => Said::Refused(why),
                    Answer::NotUnderstood(why) => Said::NotUnderstood(why),
                });
            }
        });
        Some(said)
    }

    fn kept(&self, each: &mut dyn FnMut(&Event) -> Wanted) -> Result<(), String> {
        let reader = Job::read(&self.job).map_err(|error| error.to_string())?;
        for event in reader.events() {
            if each(&event.map_err(|error| error.to_string())?) == Wanted::Enough {
                break;
            }
        }
        Ok(())
    }
}
