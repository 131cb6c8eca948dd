//! The store in the hands of a session: when it is tried again after a failure, looked after, and tidied, and what the
//! crew must know of it.

use std::time::Duration;

use crate::book::event::Event;
use crate::book::finding::Priority;
use crate::daemon::keep::{Keep, Kept, NotKept, Worry};

/// How long after a failure the store is tried again.
const RECOVER_EVERY: Duration = Duration::from_secs(2);
/// How often the place of the job file is looked at.
const LOOK_EVERY: Duration = Duration::from_secs(2);
/// Idle for this long, the log is written into the job file.
const TIDY_AFTER: Duration = Duration::from_secs(1);
/// After each setup it is written too, but not more often than this: each time costs the disk as much as some readings.
const TIDY_EVERY: Duration = Duration::from_secs(1);
/// A disk that takes longer than this to keep something makes the crew see it late, and that is told.
const SLOW: Duration = Duration::from_secs(1);

/// A store, and how it is with it.
pub(super) struct Keeper<K> {
    store: K,
    /// Why nothing can be kept, as long as it cannot.
    stopped: Option<NotKept>,
    last_try: Duration,
    last_look: Duration,
    worry: Option<Worry>,
    disk: Disk,
    log: Log,
    last_tidied: Option<Duration>,
}

/// How the disk keeps up, as last told.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Disk {
    Prompt,
    Slow,
}

/// What the log beside the job file holds.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Log {
    Nothing,
    /// Something, kept last at this time.
    Since(Duration),
    /// A whole setup, kept last at this time.
    Setup(Duration),
}

impl<K: Keep> Keeper<K> {
    pub(super) fn new(store: K) -> Self {
        Keeper {
            store,
            stopped: None,
            last_try: Duration::ZERO,
            last_look: Duration::ZERO,
            worry: None,
            disk: Disk::Prompt,
            log: Log::Nothing,
            last_tidied: None,
        }
    }

    /// Why nothing can be kept, as long as it cannot.
    pub(super) fn stopped(&self) -> Option<&NotKept> {
        self.stopped.as_ref()
    }

    /// From now on nothing is kept until the store has recovered.
    pub(super) fn stop(&mut self, not: NotKept, now: Duration) {
        self.last_try = now;
        self.stopped = Some(not);
    }

    /// Keeps events; when this returns they are durable.
    pub(super) fn append(&mut self, events: &[Event]) -> Result<(), NotKept> {
        self.store.append(events)
    }

    /// They took so long; says so if what the crew sees is late by it: once, and again only after it had kept up.
    pub(super) fn kept(&mut self, began: Duration, now: Duration) -> Option<String> {
        self.log = match self.log {
            Log::Setup(_) => Log::Setup(now),
            Log::Nothing | Log::Since(_) => Log::Since(now),
        };
        let took = now.saturating_sub(began);
        if took >= SLOW && self.disk == Disk::Prompt {
            self.disk = Disk::Slow;
            let took = took.as_secs_f64();
            return Some(format!("the disk took {took:.1} s to keep that: what is shown lags behind"));
        }
        if took < SLOW / 4 {
            self.disk = Disk::Prompt;
        }
        None
    }

    /// Whether it is time to try again.
    pub(super) fn is_due(&self, now: Duration) -> bool {
        self.stopped.is_some() && now.saturating_sub(self.last_try) >= RECOVER_EVERY
    }

    /// Tries to go on after a failure: why it had stopped, where it goes on, and what is kept behind `last` after all.
    /// `None`: it still cannot, or had not stopped.
    pub(super) fn recover(&mut self, last: u64, now: Duration) -> Option<(NotKept, Kept, Vec<Event>)> {
        let not = self.stopped.clone()?;
        self.last_try = now;
        let recovered = if not.stops { self.store.recover() } else { Ok(Kept { fresh: None }) };
        match recovered.and_then(|kept| Ok((kept, self.store.kept_after(last)?))) {
            Ok((kept, missed)) => {
                self.stopped = None;
                Some((not, kept, missed))
            }
            Err(still) => {
                self.stopped = Some(NotKept { stops: true, ..still });
                None
            }
        }
    }

    /// Looks at the place where events are kept: what the crew must know of it, if that is new.
    pub(super) fn look(&mut self, now: Duration) -> Option<Concern> {
        if now.saturating_sub(self.last_look) < LOOK_EVERY {
            return None;
        }
        self.last_look = now;
        let worry = self.store.worry();
        let kind = |worry: Option<Worry>| worry.map(|worry| std::mem::discriminant(&worry));
        if kind(worry) == kind(self.worry) {
            return None;
        }
        self.worry = worry;
        Some(match worry? {
            Worry::LittleRoom(free) => {
                Concern::Tell(Priority::Warn, format!("only {} MiB are free on the job's disk: make room", free >> 20))
            }
            Worry::LastEvents => Concern::Tell(
                Priority::Hold,
                "the job's disk is full: the reserve holds the last events, make room now".to_owned(),
            ),
            Worry::Moved(place) => Concern::Stop(NotKept { cause: format!("the job file was {place}"), stops: true }),
        })
    }

    /// A setup is complete: its readings should be in the job file itself soon.
    pub(super) fn setup_done(&mut self) {
        if let Log::Since(at) = self.log {
            self.log = Log::Setup(at);
        }
    }

    /// Writes the log into the job file, if it is time to.
    pub(super) fn tidy(&mut self, now: Duration) -> Result<(), NotKept> {
        let rested = |since: Duration, time: Duration| now.saturating_sub(since) >= time;
        let due = match self.log {
            Log::Nothing => false,
            Log::Since(kept) => rested(kept, TIDY_AFTER),
            Log::Setup(_) => self.last_tidied.is_none_or(|last| rested(last, TIDY_EVERY)),
        };
        if !due || self.stopped.is_some() {
            return Ok(());
        }
        self.log = Log::Nothing;
        self.last_tidied = Some(now);
        self.store.checkpoint()
    }

    /// Ends the keeping and leaves one complete file.
    pub(super) fn close(self) -> Result<(), NotKept> {
        self.store.close()
    }
}

/// What is to be done about the place where events are kept.
pub(super) enum Concern {
    /// The crew is told.
    Tell(Priority, String),
    /// Nothing written there would ever be found: the keeping stops.
    Stop(NotKept),
}
