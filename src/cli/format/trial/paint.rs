//! A frame as text: its bytes, marks under them, and a legend that says what each mark is. Colour repeats the marks.

use std::ops::Range;

use super::frame::{FrameView, PartView};
use crate::book::reading::Heard;
use crate::protocol::Piece;
use crate::report::live::Ink;

/// Columns of a row of bytes; with its indent it fits in eighty.
const ROW: usize = 72;
/// Columns before each row.
const INDENT: &str = "  ";
/// Columns between two parts of the legend.
const GAP: &str = "   ";
/// The marks in order; parts beyond them share the last.
const MARKS: &[u8] = b"abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ*";
/// Colours of the Okabe-Ito set for parts in turn; vermilion is kept for what is wrong.
const COLOURS: [&str; 6] = [
    "\x1b[38;2;86;180;233m",
    "\x1b[38;2;230;159;0m",
    "\x1b[38;2;0;158;115m",
    "\x1b[38;2;240;228;66m",
    "\x1b[38;2;204;121;167m",
    "\x1b[38;2;0;114;178m",
];
const VERMILION: &str = "\x1b[38;2;213;94;0m";
const GREY: &str = "\x1b[38;2;128;128;128m";
const RESET: &str = "\x1b[0m";

/// All lines of a frame.
pub(super) fn frame(view: &FrameView<'_>, piece: &Piece, ink: Ink) -> String {
    let mut text = String::new();
    let bad = match &piece.heard {
        Heard::Refused(refusal) => Some(refusal.at_byte),
        _ => None,
    };
    let head = format!("byte {}  {}", view.at_byte, what(view, &piece.heard));
    let head_colour = match &piece.heard {
        Heard::Refused(_) => VERMILION,
        Heard::Ignored { .. } | Heard::Echo | Heard::Fragment | Heard::Unfinished => GREY,
        _ => "",
    };
    text += &coloured(ink, head_colour, &head);
    text.push('\n');
    let marked = marked(&view.parts);
    for row in rows(&piece.raw) {
        row_with_marks(&mut text, &row, &marked, bad, ink);
    }
    legend(&mut text, &marked, ink);
    if let Heard::Refused(refusal) = &piece.heard {
        let sentence = format!("at byte {}: {}", refusal.at_byte, refusal.reason);
        text += &format!("{INDENT}{}\n", coloured(ink, VERMILION, &sentence));
    }
    if let Some(reply) = &piece.reply {
        text += &format!("{INDENT}the instrument waits for {}\n", reply.escape_ascii());
    }
    text
}

/// What the frame was taken for, in a few words.
fn what(view: &FrameView<'_>, heard: &Heard) -> String {
    let bytes = if view.bytes == 1 { "1 byte".to_owned() } else { format!("{} bytes", view.bytes) };
    let record = view.record.as_ref().map(|name| format!(", record {name}")).unwrap_or_default();
    match heard {
        Heard::Reading(_) => format!("reading, {bytes}{record}"),
        Heard::Status(_) => format!("state, {bytes}{record}"),
        Heard::Fault { code, meaning } => {
            let meaning = meaning.as_ref().map(|meaning| format!(" ({meaning})")).unwrap_or_default();
            format!("fault {}{meaning}, {bytes}{record}", visible(code))
        }
        Heard::Echo => format!("echo of what was sent, {bytes}"),
        Heard::Ignored { rule } => format!("set aside: {rule}, {bytes}"),
        Heard::SetAside { why, .. } => format!("reading set aside: {why}, {bytes}{record}"),
        Heard::Refused(_) => format!("REFUSED, {bytes}{record}"),
        Heard::Unfinished => format!("unfinished: its end never came, {bytes}"),
        Heard::Fragment => format!("fragment: it may have begun before we listened, {bytes}"),
        Heard::Repeated { of } => format!("repeat of event {of}, {bytes}{record}"),
    }
}

/// A byte as it is shown.
struct Cell {
    /// Its place in the frame.
    at: usize,
    text: String,
    /// Columns behind it.
    gap: usize,
}

/// The bytes in rows: as characters where most of them are some, else in hexadecimal. A line end inside ends a row.
fn rows(bytes: &[u8]) -> Vec<Vec<Cell>> {
    let is_text = |byte: &&u8| matches!(byte, b' '..=b'~' | b'\r' | b'\n' | b'\t');
    let as_text = bytes.iter().filter(is_text).count() * 4 >= bytes.len() * 3;
    let (mut rows, mut row, mut columns) = (Vec::new(), Vec::new(), 0);
    for (at, &byte) in bytes.iter().enumerate() {
        let (text, gap) = match byte {
            b' '..=b'~' if as_text => (char::from(byte).to_string(), 0),
            _ if as_text => (byte.escape_ascii().to_string(), 0),
            _ => (format!("{byte:02X}"), 1),
        };
        if columns + text.len() > ROW {
            rows.push(std::mem::take(&mut row));
            columns = 0;
        }
        columns += text.len() + gap;
        row.push(Cell { at, text, gap });
        if as_text && byte == b'\n' {
            rows.push(std::mem::take(&mut row));
            columns = 0;
        }
    }
    if !row.is_empty() {
        rows.push(row);
    }
    rows
}

/// A part that is marked.
struct Marked {
    bytes: Range<usize>,
    words: String,
    /// Its place among the marks; parts of the same bytes share it.
    mark: usize,
}

fn marked(parts: &[PartView]) -> Vec<Marked> {
    let mut marked: Vec<Marked> = Vec::new();
    for part in parts {
        let (Some(words), bytes) = (part.words(), part.from..part.to) else { continue };
        let mark = match marked.last() {
            Some(last) if last.bytes == bytes => last.mark,
            Some(last) => last.mark + 1,
            None => 0,
        };
        marked.push(Marked { bytes, words: visible(&words), mark });
    }
    marked
}

/// One row of bytes with its marks under it.
fn row_with_marks(text: &mut String, row: &[Cell], parts: &[Marked], bad: Option<usize>, ink: Ink) {
    let (mut bytes, mut marks) = (String::new(), String::new());
    for Cell { at, text, gap } in row {
        let part = parts.iter().find(|part| part.bytes.contains(at));
        let (mark, colour) = match part {
            _ if bad == Some(*at) => ('^', VERMILION),
            Some(part) => (mark(part.mark), COLOURS[part.mark % COLOURS.len()]),
            None => (' ', GREY),
        };
        let under = mark.to_string().repeat(text.len());
        let gap = " ".repeat(*gap);
        bytes += &format!("{}{gap}", coloured(ink, colour, text));
        marks += &format!("{}{gap}", if mark == ' ' { under } else { coloured(ink, colour, &under) });
    }
    *text += &format!("{INDENT}{}\n", bytes.trim_end());
    let marks = marks.trim_end();
    if !marks.is_empty() {
        *text += &format!("{INDENT}{marks}\n");
    }
}

fn mark(part: usize) -> char {
    char::from(MARKS[part.min(MARKS.len() - 1)])
}

/// What the marks are.
fn legend(text: &mut String, parts: &[Marked], ink: Ink) {
    let mut columns = 0;
    for part in parts {
        let shown = format!("{} {}", mark(part.mark), part.words);
        let width = shown.chars().count();
        let lead = match columns {
            0 => INDENT,
            _ if columns + GAP.len() + width <= ROW => GAP,
            _ => {
                text.push('\n');
                columns = 0;
                INDENT
            }
        };
        columns += width + if columns > 0 { GAP.len() } else { 0 };
        *text += &format!("{lead}{}", coloured(ink, COLOURS[part.mark % COLOURS.len()], &shown));
    }
    if columns > 0 {
        text.push('\n');
    }
}

/// A text from the instrument, with nothing in it that a terminal would act on.
fn visible(text: &str) -> String {
    let escaped = |c: char| if matches!(c, '"' | '\'' | '\\') { c.to_string() } else { c.escape_debug().to_string() };
    text.chars().map(escaped).collect()
}

fn coloured(ink: Ink, colour: &str, text: &str) -> String {
    if ink == Ink::Colour && !colour.is_empty() && !text.is_empty() {
        format!("{colour}{text}{RESET}")
    } else {
        text.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::moment::Moment;
    use crate::protocol::{Decoder, find};
    use std::sync::Arc;

    /// The text of all that comes out of `bytes`.
    fn painted(format: &str, bytes: &[u8], ink: Ink) -> String {
        let format = Arc::new(find(format).unwrap());
        let (mut decoder, mut pieces) = (Decoder::new(Arc::clone(&format)), Vec::new());
        decoder.push(bytes, Moment::default(), &mut pieces);
        decoder.closed(&mut pieces);
        let paint = |piece: &Piece| frame(&FrameView::of(&format, piece, 0, Moment::default()), piece, ink);
        pieces.iter().map(paint).collect()
    }

    fn without_colour(text: &str) -> String {
        let mut parts = text.split('\x1b');
        let first = parts.next().unwrap_or_default().to_owned();
        parts.fold(first, |plain, part| plain + part.split_once('m').map_or("", |(_, rest)| rest))
    }

    #[test]
    fn colour_repeats_what_the_marks_say() {
        let bytes = b"R,12,TP6,1.28340,31.42,B\r\nR,12,TP6,1.2834,31.42,B\r\n";
        let (colour, plain) = (painted("comma", bytes, Ink::Colour), painted("comma", bytes, Ink::Plain));
        assert_ne!(colour, plain);
        assert_eq!(without_colour(&colour), plain);
        assert!(colour.contains(&format!("{}a sequence 12{RESET}", COLOURS[0])), "{colour:?}");
        assert!(colour.contains(&format!("{VERMILION}^{RESET}")), "{colour:?}");
        assert_eq!(painted("comma", bytes, Ink::Signs), plain);
    }

    #[test]
    fn nothing_that_arrives_moves_the_cursor() {
        let hostile: Vec<u8> = (0..=255).chain(*b"R,1,\x1b[2J\x07,1.28340,31.42,B\r\n").collect();
        for ink in [Ink::Colour, Ink::Plain] {
            let text = without_colour(&painted("comma", &hostile, ink));
            assert!(text.chars().all(|c| c == '\n' || (' '..='~').contains(&c)), "{text:?}");
        }
    }

    #[test]
    fn rows_fit_in_eighty_columns_and_break_at_line_ends() {
        let long = format!("R,1,{},1.28340,31.42,B\r\n", "x".repeat(150));
        for line in painted("comma", long.as_bytes(), Ink::Plain).lines().filter(|line| !line.contains("at byte")) {
            assert!(line.len() <= 80, "{line}");
        }
        let lines: Vec<String> =
            rows(b"one\ntwo\n").iter().map(|row| row.iter().map(|cell| &*cell.text).collect()).collect();
        assert_eq!(lines, ["one\\n", "two\\n"]);
    }
}
