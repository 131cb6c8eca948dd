//! What stands on the terminal: lines that scroll away, and at the foot one block that is drawn over. With several
//! instruments the block has a line for each and more for the one that the keys go to.

use std::io::Write;
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::Duration;

use super::WIDTH;

/// The keys, for the line at the foot.
const KEYS_LINE: &str = "x strike  r repeat  i inter  b break  t take  a seen  e end  u undo  : more";
/// The same behind the name of an instrument.
const KEYS_OF_ONE: &str = "x strike r repeat i inter b break t take a seen e end u undo :";
/// Instruments that have a line at the foot: with the lines of one of them, half a terminal of 24.
const LINES_MAX: usize = 7;

/// Something to be drawn.
pub(super) enum Drawing {
    /// Lines that stay.
    Lines(Vec<String>),
    /// How an instrument stands now.
    Stands(usize, Stand),
    /// The keys go to this instrument.
    Select(usize),
    /// What is being typed.
    Typing(Option<String>),
    /// Nothing more: the foot is taken away.
    Restore,
}

/// How an instrument stands.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Stand {
    /// In one line, beside others.
    pub(super) line: String,
    /// In several, for itself.
    pub(super) block: Vec<String>,
    /// What holds its crew comes before others.
    pub(super) holds: bool,
}

/// The foot as it would be drawn now.
pub(super) struct Foot {
    names: Vec<String>,
    stands: Vec<Stand>,
    selected: usize,
    typing: Option<String>,
}

impl Foot {
    /// For instruments of these names; none for one that needs no name.
    pub(super) fn new(names: &[String]) -> Self {
        Foot { names: names.to_vec(), stands: vec![Stand::default(); names.len().max(1)], selected: 0, typing: None }
    }

    fn lines(&self) -> Vec<String> {
        let mut lines = Vec::new();
        if self.names.len() > 1 {
            lines.extend(self.overview());
        }
        lines.extend(self.stands[self.selected].block.iter().cloned());
        lines.push(match (&self.typing, self.names.get(self.selected)) {
            (Some(typed), None) => format!(": {}", last_part(typed, 2)),
            (Some(typed), Some(name)) => format!("{name}: {}", last_part(typed, name.len() + 2)),
            (None, Some(name)) if self.names.len() > 1 => format!("{name}: {KEYS_OF_ONE}"),
            (None, _) => KEYS_LINE.to_owned(),
        });
        lines
    }

    /// A line for each instrument, as many as there is room for: those that hold first.
    fn overview(&self) -> Vec<String> {
        let mut shown: Vec<usize> = (0..self.stands.len()).collect();
        shown.sort_by_key(|&index| !self.stands[index].holds);
        let left_out = shown.len().saturating_sub(LINES_MAX);
        shown.truncate(LINES_MAX);
        shown.sort_unstable();
        let mark = |index| if index == self.selected { ">" } else { " " };
        let mut lines: Vec<String> =
            shown.into_iter().map(|index| format!("{} {}", mark(index), self.stands[index].line)).collect();
        lines.push(match left_out {
            0 => "  Tab: the keys go to the next one".to_owned(),
            more => format!("  and {more} more; Tab: the keys go to the next one"),
        });
        lines
    }
}

/// Draws what comes until nothing more can.
pub(super) fn draw(waiting: &Receiver<Drawing>, mut foot: Foot, out: &mut impl Write) -> std::io::Result<()> {
    let mut drawn = 0usize;
    loop {
        let first = match waiting.recv_timeout(Duration::from_secs(3600)) {
            Ok(drawing) => drawing,
            Err(RecvTimeoutError::Timeout) => continue,
            Err(RecvTimeoutError::Disconnected) => return Ok(()),
        };
        let mut text = String::new();
        if drawn > 0 {
            text += &format!("\x1b[{drawn}A\r\x1b[J");
        }
        let mut restore = false;
        for drawing in std::iter::once(first).chain(std::iter::from_fn(|| waiting.try_recv().ok())) {
            match drawing {
                Drawing::Lines(lines) => {
                    for line in lines {
                        text += &line;
                        text += "\r\n";
                    }
                }
                Drawing::Stands(index, stand) => foot.stands[index] = stand,
                Drawing::Select(index) => foot.selected = index,
                Drawing::Typing(line) => foot.typing = line,
                Drawing::Restore => restore = true,
            }
        }
        drawn = 0;
        if !restore {
            for line in foot.lines() {
                text += &line;
                text += "\r\n";
                drawn += 1;
            }
        }
        out.write_all(text.as_bytes())?;
        out.flush()?;
        if restore {
            return Ok(());
        }
    }
}

/// The end of what is being typed behind a lead: a foot line that wraps could not be drawn over.
fn last_part(line: &str, lead: usize) -> String {
    let skip = line.chars().count().saturating_sub(WIDTH.0 - lead - 2);
    line.chars().skip(skip).collect()
}

#[cfg(test)]
mod tests {
    use std::sync::mpsc::sync_channel;

    use super::*;

    fn stand(line: &str, holds: bool) -> Stand {
        Stand { line: line.to_owned(), block: vec![format!("all of {line}")], holds }
    }

    #[test]
    fn no_line_at_the_foot_wraps_at_eighty_columns() {
        let longest = "a".repeat(12);
        for line in [KEYS_LINE.to_owned(), format!("{longest}: {KEYS_OF_ONE}")] {
            assert!(line.chars().count() < 80, "{line}: {}", line.chars().count());
        }
        assert!(last_part(&"long ".repeat(60), 14).chars().count() + 14 < WIDTH.0);
    }

    #[test]
    fn the_block_is_drawn_over_and_lines_stay() {
        let (send, receive) = sync_channel(8);
        send.send(Drawing::Stands(0, stand("one", false))).unwrap();
        drop(send);
        let mut out = Vec::new();
        draw(&receive, Foot::new(&[]), &mut out).unwrap();
        assert_eq!(String::from_utf8(out).unwrap(), format!("all of one\r\n{KEYS_LINE}\r\n"));
    }

    #[test]
    fn of_many_instruments_those_that_hold_are_at_the_foot() {
        let names: Vec<String> = (0..64).map(|n| format!("i{n}")).collect();
        let mut foot = Foot::new(&names);
        for (index, name) in names.iter().enumerate() {
            foot.stands[index] = stand(name, index % 10 == 9);
        }
        foot.selected = 9;
        let lines = foot.lines();
        let at_foot: Vec<&str> = lines.iter().map(String::as_str).collect();
        assert_eq!(
            at_foot,
            [
                "  i0",
                "> i9",
                "  i19",
                "  i29",
                "  i39",
                "  i49",
                "  i59",
                "  and 57 more; Tab: the keys go to the next one",
                "all of i9",
                &format!("i9: {KEYS_OF_ONE}"),
            ]
        );
    }
}
