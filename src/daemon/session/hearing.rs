//! What the link has: opened, bytes, gone. Bytes become pieces of the stream, each of which waits to be kept; and what
//! the format wants said to the instrument is said.

use std::time::Duration;

use tracing::{debug, info, warn};

use super::{Due, Ending, Session, Waiting};
use crate::book::Input;
use crate::book::event::{Body, LinkState};
use crate::book::finding::Priority;
use crate::book::moment::Moment;
use crate::book::reading::Heard;
use crate::daemon::keep::Keep;
use crate::link::{Gone, LinkEvent, Simulated};
use crate::protocol::Piece;

impl<K: Keep> Session<K> {
    /// Takes in what the link has, in order. Bytes wait together; what the link became is kept after the bytes before
    /// it and before those behind it.
    pub(super) fn link_events(&mut self, events: Vec<LinkEvent>) {
        for event in events {
            match event {
                LinkEvent::Chunk { at_us, bytes } => self.chunk(Moment::from_us(at_us), &bytes),
                event => {
                    self.drain();
                    self.link_turned(event);
                    self.drain();
                }
            }
        }
    }

    fn link_turned(&mut self, event: LinkEvent) {
        match event {
            LinkEvent::Opened { what, simulated } => self.opened(what, simulated),
            LinkEvent::Chunk { at_us, bytes } => self.chunk(Moment::from_us(at_us), &bytes),
            LinkEvent::Lost { why } => {
                warn!(%why, "link lost");
                self.end_of_bytes();
                self.watch.understood();
                self.input(Input::Link(LinkState::Lost { why }));
            }
            LinkEvent::Waiting { why } => self.input(Input::Link(LinkState::Waiting { why: why.to_string() })),
            LinkEvent::StoodStill { time } => self.clocks.stood_still(time),
            LinkEvent::Warned { what } => self.notice(Priority::Warn, what),
            LinkEvent::Finished => {
                self.end_of_bytes();
                self.input(Input::Link(LinkState::Finished));
                self.ending.get_or_insert(Ending::Good);
            }
        }
    }

    pub(super) fn link_gone(&mut self, gone: Gone) {
        self.ending.get_or_insert(match gone {
            Gone::Ended => Ending::Good,
            Gone::Died { why } => Ending::Bad { why: format!("the thread that reads the port ended: {why}") },
        });
    }

    /// Nothing has come for a while: a record may end by that.
    pub(super) fn nothing_came(&mut self) {
        self.at_rest();
        let mut pieces = Vec::new();
        if let (true, Some(until)) = (self.in_record(), self.clocks.silent_until()) {
            self.listener.silence(until, &mut pieces);
        }
        self.hear(self.clocks.wall(), pieces);
    }

    /// The stream of bytes ends here, and what follows does not continue it.
    pub(super) fn end_of_bytes(&mut self) {
        let mut pieces = Vec::new();
        self.listener.closed(&mut pieces);
        self.hear(self.clocks.wall(), pieces);
    }

    /// What the link becomes by staying as it is.
    pub(super) fn watch_link(&mut self, now: Duration) {
        if let Some(state) = self.watch.turned_into(self.book.records().link.as_ref(), now) {
            self.input(Input::Link(state));
        }
        if self.link_is_up()
            && let Some(format) = self.listener.format()
        {
            let polls = self.watch.polls_due(format, now);
            polls.into_iter().for_each(|poll| self.send(poll));
        }
    }

    /// Says something to the instrument.
    pub(super) fn send(&mut self, bytes: Vec<u8>) {
        if let Err(error) = self.link.send(bytes) {
            self.notice(Priority::Warn, error.to_string());
        }
    }

    fn opened(&mut self, what: String, simulated: Simulated) {
        if simulated == Simulated::Yes {
            self.simulated = Simulated::Yes;
        }
        info!(link = %what, "link open");
        let again = self.watch.ever_opened() || self.book.records().link.is_some();
        self.watch.opened(what, self.clocks.steady());
        let mut pieces = Vec::new();
        self.listener.opened(self.clocks.even_now(), &mut pieces);
        self.hear(self.clocks.wall(), pieces);
        self.tell_format();
        if again {
            self.input(Input::Link(LinkState::Open));
        }
        if let Some(format) = self.listener.format().cloned() {
            format.talk().greeting.iter().for_each(|greeting| self.send(greeting.clone()));
            self.watch.greeted(&format, self.clocks.steady());
        }
    }

    fn chunk(&mut self, at: Moment, bytes: &[u8]) {
        debug!(bytes = bytes.len(), "chunk");
        self.watch.heard(bytes, self.clocks.steady());
        if matches!(self.book.records().link, Some(LinkState::Quiet { .. })) {
            self.input(Input::Link(LinkState::Open));
        }
        let mut pieces = Vec::new();
        self.listener.push(bytes, self.clocks.bytes_arrived(at), &mut pieces);
        self.hear(at, pieces);
    }

    fn hear(&mut self, at: Moment, pieces: Vec<Piece>) {
        if !pieces.is_empty() {
            self.tell_format();
        }
        for piece in pieces {
            if matches!(piece.heard, Heard::Reading(_) | Heard::Status(_) | Heard::Fault { .. } | Heard::Echo) {
                self.watch.understood();
            }
            let due = Due::Input(Input::Heard { at, raw: piece.raw, heard: piece.heard });
            self.waiting.push_back(Waiting { due, reply: piece.reply });
        }
    }

    /// Keeps, once, with which format is read from now on.
    fn tell_format(&mut self) {
        let (false, Some(format)) = (self.format_told, self.listener.format().cloned()) else { return };
        self.format_told = true;
        self.fact(Body::ListeningBegan {
            link: self.watch.words().to_owned(),
            format: format.name().to_owned(),
            digest: format.digest().to_owned(),
            text: format.text().to_owned(),
        });
    }

    fn link_is_up(&self) -> bool {
        let gone = |state: &LinkState| {
            matches!(state, LinkState::Lost { .. } | LinkState::Waiting { .. } | LinkState::Finished)
        };
        self.watch.ever_opened() && !self.book.records().link.as_ref().is_some_and(gone)
    }
}
