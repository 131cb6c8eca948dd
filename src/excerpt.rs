//! A place in a text file, shown to the person who has to mend it: line, column, and the line with its fault marked.

use std::fmt;
use std::ops::Range;

/// The longest piece of a line that is shown, in characters; a longer line is cut around its fault.
const SHOWN_MAX: usize = 100;

/// A line of a text with a part of it marked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Excerpt {
    /// Line, counted from 1.
    pub line: usize,
    /// Column in characters, counted from 1.
    pub column: usize,
    /// The piece of the line that is shown, with nothing in it that a terminal would act on.
    shown: String,
    /// How many characters of it stand before the fault, and how many are the fault.
    mark: (usize, usize),
}

impl Excerpt {
    /// The line of `text` in which `span` (in bytes) begins. A span outside the text is taken to its end.
    pub fn of(text: &str, span: &Range<usize>) -> Self {
        let start = floor_boundary(text, span.start);
        let line_start = text[..start].rfind('\n').map_or(0, |at| at + 1);
        let line = text[line_start..].lines().next().unwrap_or_default().trim_end();
        let end = floor_boundary(text, span.end).clamp(start, start.max(line_start + line.len()));
        let before = text[line_start..start].chars().count();
        let cut = before.saturating_sub(SHOWN_MAX / 2);
        let visible = |c: char| if c.is_control() { ' ' } else { c };
        let shown: String = line.chars().skip(cut).take(SHOWN_MAX).map(visible).collect();
        let marked = text[start..end].chars().count();
        let room = shown.chars().count().saturating_sub(before - cut);
        Excerpt {
            line: text[..start].matches('\n').count() + 1,
            column: before + 1,
            shown,
            mark: (before - cut, marked.clamp(1, room.max(1))),
        }
    }
}

/// Two lines: the excerpt behind its line number, and the mark under it.
impl fmt::Display for Excerpt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let number = self.line.to_string();
        let (before, marked) = self.mark;
        writeln!(f, "  {number} | {}", self.shown)?;
        write!(f, "  {:width$} | {:before$}{:^<marked$}", "", "", "", width = number.len())
    }
}

/// The last place at or before `at` where `text` can be cut.
fn floor_boundary(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mark_stands_under_the_fault() {
        let text = "a = 1\nü = \"metr\"\nb = 2\n";
        let at = text.find("\"metr\"").unwrap();
        let excerpt = Excerpt::of(text, &(at..at + 6));
        assert_eq!((excerpt.line, excerpt.column), (2, 5));
        assert_eq!(excerpt.to_string(), "  2 | ü = \"metr\"\n    |     ^^^^^^");
    }

    #[test]
    fn a_fault_over_several_lines_is_marked_on_its_first() {
        let text = "[class]\r\ntitle = 1\r\n";
        assert_eq!(Excerpt::of(text, &(0..text.len())).to_string(), "  1 | [class]\n    | ^^^^^^^");
    }

    #[test]
    fn a_fault_anywhere_in_any_text_is_shown_in_little() {
        let huge = format!("{}\u{1b}[2J{}", "é".repeat(5000), "y".repeat(5000));
        for text in ["", "\n", "é", huge.as_str()] {
            for start in [0, 1, 2, 5000, 10_001, 10_003, 15_004, 99_999] {
                for end in [0, start, start + 1, usize::MAX] {
                    let shown = Excerpt::of(text, &(start..end)).to_string();
                    assert!(shown.chars().count() < 3 * SHOWN_MAX, "{start} to {end}: {shown}");
                    assert!(!shown.contains('\u{1b}'), "{start} to {end}: {shown}");
                }
            }
        }
    }
}
