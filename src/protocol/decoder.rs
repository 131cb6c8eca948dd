//! Bytes in, pieces out: the one place that keeps bytes between two calls.
//!
//! Every byte pushed comes out in exactly one [`Piece`], in order, and the pieces do not depend on how the bytes were
//! cut into chunks. The buffer holds at most two frames and a chunk.

mod joining;
mod resync;

use std::sync::Arc;

use super::format::file::Noise;
use super::framing::{self, Cut, Frame, Kind, LineEnd, Scan};
use super::grammar::{Leads, Rule};
use super::limits::{CHUNK_MAX, STALE_MS};
use super::meaning::{self, Protection};
use super::record::{self, Record, Slots};
use super::talk::Answer;
use super::{Format, RecordKind};
use crate::book::moment::Moment;
use crate::book::reading::{Heard, Refusal};
use joining::Joining;
use resync::Doubtful;

/// Some bytes as they arrived, what they were taken for, and what the instrument waits for in return.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// The bytes.
    pub raw: Vec<u8>,
    /// What they were taken for.
    pub heard: Heard,
    /// What the format says must be sent back once the piece is safe.
    pub reply: Option<Vec<u8>>,
}

/// Takes a stream of bytes apart by a format.
#[derive(Debug)]
pub struct Decoder {
    format: Arc<Format>,
    buffer: Vec<u8>,
    /// Bytes at the front of the buffer that are out already.
    taken: usize,
    scan: Scan,
    doubtful: Option<Doubtful>,
    /// Bytes that were searched again and again without finding a frame.
    owed: u64,
    joining: Joining,
    last: Option<Moment>,
    line: LongLine,
    /// The link was opened anew while bytes of the old one were left.
    reopened: bool,
    plain: Vec<u8>,
    slots: Slots,
    steps: u64,
}

/// Whether the next line is the rest of one that was cut at the bound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum LongLine {
    No,
    Rest,
}

/// What a frame turned out to be.
enum Understood {
    /// A record by that rule.
    Good {
        rule: usize,
        payload: Payload,
    },
    Echo,
    EmptyLine,
    Bad {
        at: usize,
        reason: String,
    },
}

/// Where the fields of a frame lie, from its first byte.
#[derive(Clone, Copy)]
struct Payload {
    start: usize,
    end: usize,
    held: Held,
}

/// Where the bytes of a frame without escapes are.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Held {
    /// In the buffer: there were no escapes.
    Buffer,
    /// Uncovered into a place of their own.
    Plain,
}

impl Decoder {
    /// A decoder at the beginning of a record.
    pub fn new(format: Arc<Format>) -> Self {
        Decoder {
            format,
            buffer: Vec::new(),
            taken: 0,
            scan: Scan::default(),
            doubtful: None,
            owed: 0,
            joining: Joining::Settled,
            last: None,
            line: LongLine::No,
            reopened: false,
            plain: Vec::new(),
            slots: Slots::default(),
            steps: 0,
        }
    }

    /// The format in use.
    pub fn format(&self) -> &Arc<Format> {
        &self.format
    }

    /// The link was opened: what comes first may be the tail of a record.
    pub fn opened(&mut self, at: Moment) {
        self.reopened = self.pending() > 0;
        self.joining = Joining::Opened { at };
        self.last = None;
    }

    /// Takes bytes in, gives the pieces that are complete.
    pub fn push(&mut self, bytes: &[u8], at: Moment, out: &mut Vec<Piece>) {
        if bytes.is_empty() {
            return;
        }
        if self.reopened {
            let joining = self.joining;
            self.closed(out);
            self.joining = joining;
        }
        self.silence(at, out);
        self.joining = self.joining.began(at);
        for chunk in bytes.chunks(CHUNK_MAX) {
            self.buffer.extend_from_slice(chunk);
            self.cut(out);
            self.buffer.drain(..std::mem::take(&mut self.taken));
        }
        self.last = Some(at);
    }

    /// Nothing has come until now: ends a record where the format says that silence does, gives up an unfinished one
    /// after the format's silence or [`STALE_MS`].
    pub fn silence(&mut self, at: Moment, out: &mut Vec<Piece>) {
        let Some(last) = self.last else { return };
        let wait = self.format.link().silence_ms.map_or(STALE_MS, u64::from);
        if self.pending() == 0 || at.since(last).as_millis() < u128::from(wait) {
            return;
        }
        if matches!(self.format.grammar.framer.kind, Kind::Silence) {
            // The answer may follow what comes back without a pause.
            while let Some(len) = self.format.talk().echo_in_front(&self.buffer[self.taken..]) {
                self.emit(len, Heard::Echo, None, out);
            }
            let len = self.pending();
            self.frame(Frame { len, start: 0, end: len, trail: len }, out);
        }
        self.give_up(out);
    }

    /// The link went: what is left is unfinished.
    pub fn closed(&mut self, out: &mut Vec<Piece>) {
        self.give_up(out);
        self.reopened = false;
        self.joining = Joining::Settled;
        self.last = None;
    }

    /// How many bytes wait for the rest of their record.
    pub fn pending(&self) -> usize {
        self.buffer.len() - self.taken
    }

    /// How many steps all walks over all frames took so far: never more than a fixed number for each byte.
    pub fn steps(&self) -> u64 {
        self.steps
    }

    /// Cuts off frames as long as there are any.
    fn cut(&mut self, out: &mut Vec<Piece>) {
        loop {
            let view = &self.buffer[self.taken + self.doubtful_len()..];
            if view.is_empty() {
                break;
            }
            match self.format.grammar.framer.next(view, &mut self.scan) {
                Cut::More => break,
                Cut::Noise { len } => self.noise(len, out),
                Cut::Torn { len, at, reason } => self.torn(len, at, reason, out),
                Cut::Frame(frame) => self.frame(frame, out),
            }
        }
    }

    fn noise(&mut self, len: usize, out: &mut Vec<Piece>) {
        self.scan = Scan::default();
        let Some(len) = self.doubt_more(len, out) else { return };
        let heard = if self.joining.may_be_tail() {
            Heard::Fragment
        } else {
            match self.format.grammar.framer.noise {
                Noise::Ignore => Heard::Ignored { rule: "noise between frames".to_owned() },
                Noise::Refuse => refused(0, format!("{len} bytes found between frames, none were wanted")),
            }
        };
        self.emit(len, heard, None, out);
    }

    fn torn(&mut self, len: usize, at: usize, reason: String, out: &mut Vec<Piece>) {
        self.scan = Scan::default();
        if matches!(self.format.grammar.framer.kind, Kind::Line(_)) {
            self.line = LongLine::Rest;
        }
        if matches!(self.format.grammar.framer.kind, Kind::Block(_)) {
            self.flush_doubtful(out);
        }
        if self.doubt_more(len, out).is_some() {
            let reply = self.answer_bad();
            self.emit(len, refused(at, reason), reply, out);
        }
    }

    fn frame(&mut self, frame: Frame, out: &mut Vec<Piece>) {
        self.scan = Scan::default();
        let from = self.taken + self.doubtful_len();
        let bytes = &self.buffer[from..from + frame.len];
        let understood = match self.line {
            LongLine::Rest => Understood::Bad { at: 0, reason: "the rest of a line that was too long".to_owned() },
            LongLine::No => understand(&self.format, bytes, frame, &mut self.plain, &mut self.slots),
        };
        self.line = LongLine::No;
        self.steps += self.slots.steps();
        let tail = self.joining.may_be_tail();
        match understood {
            Understood::Good { rule, payload } => {
                self.flush_doubtful(out);
                if tail && !self.is_evident(rule) {
                    let reply = self.answer_bad();
                    return self.emit(frame.len, Heard::Fragment, reply, out);
                }
                self.record(rule, frame, payload, out);
            }
            Understood::Echo => {
                self.flush_doubtful(out);
                self.emit(frame.len, Heard::Echo, None, out);
            }
            Understood::EmptyLine => {
                self.emit(frame.len, Heard::Ignored { rule: "empty line".to_owned() }, None, out);
            }
            Understood::Bad { at, reason } => self.bad(frame, at, reason, out),
        }
    }

    /// Whether a frame shows that it is whole: by its start, by a check, or by the literal that it begins with.
    fn is_evident(&self, rule: usize) -> bool {
        let grammar = &self.format.grammar;
        grammar.framer.shows_its_start()
            || !grammar.checks.is_empty()
            || grammar.records[rule].leads == Leads::ByLiteral
    }

    /// Everything that is left comes out.
    fn give_up(&mut self, out: &mut Vec<Piece>) {
        loop {
            let view = &self.buffer[self.taken + self.doubtful_len()..];
            if view.is_empty() {
                break;
            }
            let framer = &self.format.grammar.framer;
            let (len, heard) = match &framer.kind {
                Kind::Line(line)
                    if matches!(line.end, LineEnd::Any) && view.iter().all(|b| matches!(b, b'\r' | b'\n')) =>
                {
                    (view.len(), Heard::Ignored { rule: "line end".to_owned() })
                }
                Kind::Delimited(delimited) if !begins_alike(view, &delimited.start) => (view.len(), self.stray()),
                Kind::Fixed(fixed) if !begins_alike(view, &fixed.start) => (view.len(), self.stray()),
                Kind::Prefixed(prefixed) if !begins_alike(view, &prefixed.start) => (view.len(), self.stray()),
                _ => (framer.resync(view), Heard::Unfinished),
            };
            self.scan = Scan::default();
            self.line = LongLine::No;
            if self.doubt_more(len, out).is_some() {
                self.emit(len, heard, None, out);
            }
            self.cut(out);
        }
        self.flush_doubtful(out);
        self.buffer.drain(..std::mem::take(&mut self.taken));
    }

    /// Bytes that nothing came of.
    fn stray(&self) -> Heard {
        match self.format.grammar.framer.noise {
            _ if self.joining.may_be_tail() => Heard::Fragment,
            Noise::Ignore => Heard::Ignored { rule: "noise between frames".to_owned() },
            Noise::Refuse => refused(0, "bytes found between frames, none were wanted".to_owned()),
        }
    }

    fn emit(&mut self, len: usize, heard: Heard, reply: Option<Vec<u8>>, out: &mut Vec<Piece>) {
        let raw = self.buffer[self.taken..self.taken + len].to_vec();
        self.taken += len;
        self.joining = Joining::Settled;
        out.push(Piece { raw, heard, reply });
    }

    /// A good record comes out. What it says is put together in its place, because it is large.
    fn record(&mut self, rule: usize, frame: Frame, payload: Payload, out: &mut Vec<Piece>) {
        let grammar = &self.format.grammar;
        let bytes = &self.buffer[self.taken..self.taken + frame.len];
        let fields = match payload.held {
            Held::Buffer => &bytes[payload.start..payload.end],
            Held::Plain => &self.plain[payload.start..payload.end],
        };
        let protection = if grammar.checks.is_empty() { Protection::None } else { Protection::Checked };
        out.push(Piece {
            raw: bytes.to_vec(),
            heard: meaning::heard(&grammar.records[rule], fields, &self.slots, protection),
            reply: None,
        });
        if let Some(piece) = out.last_mut() {
            if let Heard::Refused(refusal) = &mut piece.heard {
                let at = payload.start + refusal.at_byte;
                refusal.at_byte = framing::sent_at(&grammar.framer, bytes, frame, at);
                piece.reply = self.answer_bad();
            } else if self.format.talk().acknowledge.is_some() {
                piece.reply = self.answer_good(rule, frame);
            }
        }
        self.taken += frame.len;
        self.joining = Joining::Settled;
    }

    fn answer_bad(&self) -> Option<Vec<u8>> {
        self.format.talk().acknowledge.as_ref()?.bad.clone()
    }

    fn answer_good(&self, rule: usize, frame: Frame) -> Option<Vec<u8>> {
        let acknowledge = self.format.talk().acknowledge.as_ref()?;
        let kind = self.format.grammar.records[rule].kind;
        if !acknowledge.records.contains(&rule) || kind == RecordKind::Echo {
            return None;
        }
        // The walk is taken again, because its bytes are not kept: only formats with answers pay for it.
        let bytes = &self.buffer[self.taken..self.taken + frame.len];
        let reread = read_frame(&self.format, bytes, frame).ok()?;
        let mut answer = Vec::new();
        for part in &acknowledge.good {
            match part {
                Answer::Bytes(bytes) => answer.extend_from_slice(bytes),
                Answer::Field(name) => {
                    let slot = reread.rule(&self.format).fields.iter().position(|field| *field.name == **name);
                    answer
                        .extend_from_slice(slot.map_or(&[][..], |slot| reread.sent(&self.format, bytes, frame, slot)));
                }
            }
        }
        Some(answer)
    }
}

/// Whether `bytes` begin with `start`, or are the beginning of it.
fn begins_alike(bytes: &[u8], start: &[u8]) -> bool {
    bytes.starts_with(start) || start.starts_with(bytes)
}

fn refused(at_byte: usize, reason: String) -> Heard {
    Heard::Refused(Refusal { reason, at_byte })
}

/// A frame taken apart once more, with its fields at hand.
pub(super) struct Reread {
    rule: usize,
    /// Where the fields begin in the plain frame.
    start: usize,
    payload: Vec<u8>,
    slots: Slots,
}

impl Reread {
    /// The rule that it was read by.
    pub(super) fn rule<'a>(&self, format: &'a Format) -> &'a Rule {
        &format.grammar.records[self.rule]
    }

    /// What it says.
    pub(super) fn record(&self, format: &Format) -> Record {
        self.slots.record(self.rule(format), &self.payload)
    }

    /// The bytes of a field as they were sent.
    fn sent<'a>(&self, format: &Format, bytes: &'a [u8], frame: Frame, slot: usize) -> &'a [u8] {
        let place = self.slots.place(slot);
        let at = |at| framing::sent_at(&format.grammar.framer, bytes, frame, self.start + at);
        &bytes[at(place.start)..at(place.end)]
    }
}

/// Takes the bytes of one frame apart once more.
///
/// # Errors
/// Where and why they are no frame of the format.
pub(super) fn reread(format: &Format, bytes: &[u8]) -> Result<Reread, Refusal> {
    let framer = &format.grammar.framer;
    let refuse = |at_byte: usize, reason: &str| Err(Refusal { reason: reason.to_owned(), at_byte });
    let whole = Frame { len: bytes.len(), start: 0, end: bytes.len(), trail: bytes.len() };
    match framer.next(bytes, &mut Scan::default()) {
        Cut::Frame(frame) if frame.len == bytes.len() => read_frame(format, bytes, frame),
        Cut::Frame(frame) => refuse(frame.len, "more bytes found behind the end of the frame"),
        Cut::More if matches!(framer.kind, Kind::Silence) => read_frame(format, bytes, whole),
        Cut::More => refuse(bytes.len(), "no end of the frame found"),
        Cut::Noise { .. } => refuse(0, "no start of a frame found"),
        Cut::Torn { at, reason, .. } => Err(Refusal { reason, at_byte: at }),
    }
}

fn read_frame(format: &Format, bytes: &[u8], frame: Frame) -> Result<Reread, Refusal> {
    let (mut plain, mut slots) = (Vec::new(), Slots::default());
    match understand(format, bytes, frame, &mut plain, &mut slots) {
        Understood::Good { rule, payload } => {
            let held = if payload.held == Held::Buffer { bytes } else { &plain };
            let Payload { start, end, .. } = payload;
            Ok(Reread { rule, start, payload: held[start..end].to_vec(), slots })
        }
        Understood::Echo => Err(Refusal { reason: "what we send ourselves found".to_owned(), at_byte: 0 }),
        Understood::EmptyLine => Err(Refusal { reason: "an empty line found".to_owned(), at_byte: 0 }),
        Understood::Bad { at, reason } => Err(Refusal { reason, at_byte: at }),
    }
}

/// Takes one frame apart: what it contains, then its fields.
fn understand(format: &Format, bytes: &[u8], frame: Frame, plain: &mut Vec<u8>, slots: &mut Slots) -> Understood {
    let grammar = &format.grammar;
    if frame.start == frame.end && matches!(grammar.framer.kind, Kind::Line(_)) {
        return Understood::EmptyLine;
    }
    let echo = || format.talk().echo && format.talk().sends(&bytes[frame.start..frame.end]);
    let (uncovered, fields) = match framing::contents(&grammar.framer, &grammar.checks, bytes, frame, plain) {
        Ok(contents) => contents,
        Err(_) if echo() => return Understood::Echo,
        Err(mismatch) => return Understood::Bad { at: mismatch.at, reason: mismatch.reason },
    };
    match record::read(grammar, &uncovered[fields.clone()], slots) {
        Ok(rule) => {
            let held = if std::ptr::eq(uncovered, bytes) { Held::Buffer } else { Held::Plain };
            Understood::Good { rule, payload: Payload { start: fields.start, end: fields.end, held } }
        }
        Err(_) if echo() => Understood::Echo,
        Err(stop) => {
            let at = framing::sent_at(&grammar.framer, bytes, frame, fields.start + stop.at);
            Understood::Bad { at, reason: stop.reason }
        }
    }
}

#[cfg(test)]
mod tests;
