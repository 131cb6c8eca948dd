//! Breaking of sentences into lines, and making every text safe to print.

use crate::book::reading::hidden;

/// A text as it may be printed: characters that nobody would see, or that would turn a terminal, are replaced.
pub(in crate::report) fn visible(text: &str) -> String {
    let seen = |c: char| {
        if c.is_whitespace() {
            ' '
        } else if hidden(c) {
            '\u{fffd}'
        } else {
            c
        }
    };
    text.chars().map(seen).collect()
}

/// Columns that a text takes, one a character.
pub(in crate::report) fn columns(text: &str) -> usize {
    text.chars().count()
}

/// Breaks a text at spaces into lines of at most `width` columns: the first behind `lead`, the others under it.
/// A word longer than a line is broken where the line ends.
pub(in crate::report) fn wrap(lead: &str, text: &str, width: usize) -> Vec<String> {
    /// Less room than this for the words would make a column of single letters.
    const ROOM_MIN: usize = 16;
    let indent = columns(lead);
    let room = width.saturating_sub(indent).max(ROOM_MIN);
    let text = visible(text);
    let mut lines = vec![String::new()];
    for mut word in text.split_whitespace() {
        loop {
            let line = lines.last_mut().expect("there is a first line");
            let taken = if line.is_empty() { 0 } else { columns(line) + 1 };
            if taken + columns(word) <= room {
                if taken > 0 {
                    line.push(' ');
                }
                line.push_str(word);
                break;
            }
            if taken > 0 {
                lines.push(String::new());
                continue;
            }
            let cut = word.char_indices().nth(room).map_or(word.len(), |(at, _)| at);
            line.push_str(&word[..cut]);
            word = &word[cut..];
            lines.push(String::new());
        }
    }
    let spaces = " ".repeat(indent);
    let led = |(index, line): (usize, String)| {
        format!("{}{line}", if index == 0 { lead } else { &spaces }).trim_end().to_owned()
    };
    lines.into_iter().enumerate().map(led).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_kept_whole_as_long_as_they_fit() {
        assert_eq!(wrap("to do  ", "put the staff farther out", 23), ["to do  put the staff", "       farther out"]);
        assert_eq!(wrap("", &"x".repeat(20), 16), ["x".repeat(16), "x".repeat(4)]);
        assert_eq!(wrap("- ", "", 80), ["-"]);
    }

    #[test]
    fn nothing_hidden_reaches_the_paper() {
        assert_eq!(wrap("", "a\x1b[31mb\u{202e}c\nd\te", 80), ["a\u{fffd}[31mb\u{fffd}c d e"]);
    }
}
