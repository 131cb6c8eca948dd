//! Those who follow the page: what is sent to whom, and what becomes of one who falls behind.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use axum::body::Bytes;
use serde::Serialize;
use tokio::sync::{mpsc, watch};

/// A message of a stream as it goes over the wire, shared by all who get it.
pub(super) type Message = Bytes;

/// What a stream carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Carries {
    /// The lines of `--json`.
    Lines,
    /// Those, and what has changed in the state: for pages.
    Changes,
    /// How each instrument stands, in short: for the overview.
    Overview,
}

/// For whom a message is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum For {
    /// For every stream.
    All,
    /// For those that carry lines.
    Lines,
    /// For pages.
    Changes,
    /// For the overview.
    Overview,
}

impl For {
    fn includes(self, carries: Carries) -> bool {
        match self {
            For::All => true,
            For::Lines => carries != Carries::Overview,
            For::Changes => carries == Carries::Changes,
            For::Overview => carries == Carries::Overview,
        }
    }
}

/// Cuts a connection when told to.
#[derive(Clone)]
pub(super) struct Cut(watch::Sender<bool>);

impl Cut {
    pub(super) fn new() -> Self {
        Cut(watch::Sender::new(false))
    }

    pub(super) fn now(&self) {
        self.0.send_replace(true);
    }

    pub(super) async fn wait(&self) {
        // The sender cannot go while it is borrowed here.
        let _ = self.0.subscribe().wait_for(|cut| *cut).await;
    }

    #[cfg(test)]
    pub(super) fn was_made(&self) -> bool {
        *self.0.borrow()
    }
}

/// Places for streams. One is held for as long as its [`Seat`] lives.
pub(super) struct Seats {
    taken: Arc<AtomicUsize>,
    most: usize,
}

/// A place for a stream.
pub(super) struct Seat(Arc<AtomicUsize>);

impl Seats {
    pub(super) fn new(most: usize) -> Self {
        Seats { taken: Arc::default(), most }
    }

    /// A place, if one is free.
    pub(super) fn take(&self) -> Option<Seat> {
        let free = |taken: usize| (taken < self.most).then_some(taken + 1);
        self.taken.fetch_update(Ordering::Relaxed, Ordering::Relaxed, free).ok()?;
        Some(Seat(Arc::clone(&self.taken)))
    }

    /// How many are taken.
    pub(super) fn taken(&self) -> usize {
        self.taken.load(Ordering::Relaxed)
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::Relaxed);
    }
}

struct Stream {
    carries: Carries,
    to: mpsc::Sender<Message>,
    cut: Cut,
}

/// The open streams of one instrument.
#[derive(Default)]
pub(super) struct Streams {
    open: Vec<Stream>,
    cut: u64,
}

impl Streams {
    pub(super) fn add(&mut self, carries: Carries, to: mpsc::Sender<Message>, cut: Cut) {
        self.open.retain(|stream| !stream.to.is_closed());
        self.open.push(Stream { carries, to, cut });
    }

    /// Whether anybody gets what is for these.
    pub(super) fn any(&self, of: For) -> bool {
        self.open.iter().any(|stream| of.includes(stream.carries))
    }

    /// Sends a message. Never waits: who is too far behind is cut.
    pub(super) fn send(&mut self, of: For, message: &Message) {
        let mut cut = 0;
        self.open.retain(|stream| {
            if !of.includes(stream.carries) {
                return true;
            }
            match stream.to.try_send(message.clone()) {
                Ok(()) => true,
                Err(mpsc::error::TrySendError::Closed(_)) => false,
                Err(mpsc::error::TrySendError::Full(_)) => {
                    stream.cut.now();
                    cut += 1;
                    false
                }
            }
        });
        self.cut += cut;
    }

    /// Cuts all: they come again.
    pub(super) fn cut_all(&mut self) {
        self.open.drain(..).for_each(|stream| stream.cut.now());
    }

    /// Lets go of all, in good order: what was sent is still read.
    pub(super) fn end(&mut self) {
        self.open.clear();
    }

    /// How many fell behind and were cut.
    pub(super) fn fell_behind(&self) -> u64 {
        self.cut
    }
}

/// A message with a name, a number if it is an event's, and JSON.
pub(super) fn message(name: &str, id: Option<u64>, data: &impl Serialize) -> Message {
    let id = id.map(|id| format!("id: {id}\n")).unwrap_or_default();
    format!("{id}event: {name}\ndata: {}\n\n", json(data)).into()
}

/// Data as JSON in one line.
pub(super) fn json(data: &impl Serialize) -> String {
    serde_json::to_string(data).expect("plain data")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_seat_is_free_again_when_it_is_left() {
        let seats = Seats::new(2);
        let (one, two) = (seats.take(), seats.take());
        assert!(one.is_some() && two.is_some() && seats.take().is_none());
        drop(one);
        assert_eq!(seats.taken(), 1);
        assert!(seats.take().is_some());
    }

    #[test]
    fn each_gets_what_it_carries() {
        let mut streams = Streams::default();
        let mut ends = [Carries::Lines, Carries::Changes, Carries::Overview].map(|carries| {
            let (to, from) = mpsc::channel(8);
            streams.add(carries, to, Cut::new());
            from
        });
        for (of, text) in [(For::All, "a"), (For::Lines, "l"), (For::Changes, "c"), (For::Overview, "o")] {
            streams.send(of, &Message::from_static(text.as_bytes()));
        }
        let got = ends.each_mut().map(|end| std::iter::from_fn(|| end.try_recv().ok()).collect::<Vec<_>>().concat());
        assert_eq!(got, ["al", "alc", "ao"].map(str::as_bytes));
    }
}
