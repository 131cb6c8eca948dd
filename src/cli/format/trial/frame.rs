//! One frame as it is shown: where it lies, what it was taken for, and what each of its parts was taken for.

use std::ops::Range;

use serde::Serialize;

use crate::book::moment::Moment;
use crate::book::reading::Heard;
use crate::protocol::{Anatomy, Format, Means, Part, Piece, What};

/// A frame with what it was taken for.
#[derive(Debug, Serialize)]
pub(super) struct FrameView<'p> {
    /// Its first byte, counted from 0 at the beginning of the stream.
    pub(super) at_byte: u64,
    /// When its last byte was there; nobody knows it of bare bytes.
    #[serde(skip_serializing_if = "Option::is_none")]
    at: Option<Moment>,
    pub(super) bytes: usize,
    hex: String,
    /// The name of its record in the format.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) record: Option<String>,
    /// What its parts were taken for, in order.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) parts: Vec<PartView>,
    heard: &'p Heard,
    /// What the instrument waits for in return.
    #[serde(skip_serializing_if = "Option::is_none")]
    reply: Option<String>,
}

/// A part of a frame.
#[derive(Debug, Serialize)]
pub(super) struct PartView {
    /// Its first byte in the frame.
    pub(super) from: usize,
    /// Behind its last byte.
    pub(super) to: usize,
    /// `start`, `length`, `field`, `check` or `end`.
    what: &'static str,
    /// The name of a field or the kind of a check.
    #[serde(skip_serializing_if = "Option::is_none")]
    name: Option<String>,
    /// What a field means to the book.
    #[serde(skip_serializing_if = "Option::is_none")]
    means: Option<&'static str>,
    /// What a field holds.
    #[serde(skip_serializing_if = "String::is_empty")]
    holds: String,
}

impl PartView {
    fn of(part: Part) -> Self {
        let (what, name, means) = match part.what {
            What::Start => ("start", None, None),
            What::Length => ("length", None, None),
            What::Field { name, means } => ("field", Some(name), means),
            What::Check(label) => ("check", Some(label), None),
            What::End => ("end", None, None),
        };
        let Range { start: from, end: to } = part.bytes;
        PartView { from, to, what, name, means: means.map(Means::word), holds: part.holds }
    }

    /// What the legend says of it: `staff 1.28340 m`. Nothing of start and end, which are the same in every frame.
    pub(super) fn words(&self) -> Option<String> {
        let name = match (self.what, &self.name) {
            ("start" | "end", _) => return None,
            (what, None) => what,
            (_, Some(name)) => name,
        };
        let means = self.means.filter(|means| *means != name).map(|means| format!(" ({means})")).unwrap_or_default();
        Some(format!("{name}{means} {}", self.holds).trim_end().to_owned())
    }
}

impl<'p> FrameView<'p> {
    /// How `piece` is shown, which begins at that byte of the stream.
    pub(super) fn of(format: &Format, piece: &'p Piece, at_byte: u64, at: Moment) -> Self {
        let anatomy = match &piece.heard {
            // Noise has none, whatever it looks like.
            Heard::Ignored { rule } if !rule.starts_with("record ") => Anatomy::default(),
            _ => format.anatomy(&piece.raw),
        };
        FrameView {
            at_byte,
            at: (at != Moment::default()).then_some(at),
            bytes: piece.raw.len(),
            hex: hex(&piece.raw),
            record: anatomy.record,
            parts: anatomy.parts.into_iter().map(PartView::of).collect(),
            heard: &piece.heard,
            reply: piece.reply.as_deref().map(hex),
        }
    }
}

fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    let mut text = String::with_capacity(2 * bytes.len());
    for byte in bytes {
        let _ = write!(text, "{byte:02x}");
    }
    text
}
