//! What was probably meant: the nearest of the allowed words to a mistyped one, for error messages.
//!
//! A suggestion only: nothing is ever taken for something else because it looks like it.

use std::cmp::Reverse;

/// The longest word that is compared, in characters: the work grows with the product of two lengths, and nobody
/// mistypes a word beyond this.
const WORD_MAX: usize = 80;

/// The word of `among` nearest to `typed`, if any is near enough to have been meant.
///
/// Distance counts letters put in, left out, changed, or swapped with their neighbour; case does not count. Near
/// enough is a third of the longer word or one letter, as long as some letter is left that agrees. Of equally near words the longer is taken, of these the first.
pub fn nearest<'a>(typed: &str, among: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let typed = letters(typed)?;
    let mut best = None;
    for word in among {
        let Some(letters) = letters(word) else { continue };
        let distance = distance(&typed, &letters);
        let longer = typed.len().max(letters.len());
        let near = distance <= (longer / 3).max(1) && distance < longer;
        let rank = (distance, Reverse(letters.len()));
        if near && best.is_none_or(|(least, _)| rank < least) {
            best = Some((rank, word));
        }
    }
    best.map(|(_, word)| word)
}

/// The letters to compare; `None` for nothing, or for more than anybody mistypes.
fn letters(word: &str) -> Option<Vec<char>> {
    let letters: Vec<char> = word.chars().take(WORD_MAX + 1).flat_map(char::to_lowercase).collect();
    (1..=WORD_MAX).contains(&letters.len()).then_some(letters)
}

/// Optimal string alignment distance, three rows at a time.
fn distance(a: &[char], b: &[char]) -> usize {
    let mut before = vec![0; b.len() + 1];
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for i in 1..=a.len() {
        let mut row = vec![i; b.len() + 1];
        for j in 1..=b.len() {
            let changed = last[j - 1] + usize::from(a[i - 1] != b[j - 1]);
            row[j] = changed.min(last[j] + 1).min(row[j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                row[j] = row[j].min(before[j - 2] + 1);
            }
        }
        before = std::mem::replace(&mut last, row);
    }
    last[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    const WORDS: [&str; 7] = ["class", "sequence", "start", "BFFB", "m", "on", "off"];

    #[test]
    fn a_slip_of_the_finger_finds_its_word() {
        for (typed, meant) in [
            ("clas", "class"),
            ("calss", "class"),
            ("sequense", "sequence"),
            ("Start", "start"),
            ("stat", "start"),
            ("bffb", "BFFB"),
            ("mm", "m"),
            ("of", "off"),
        ] {
            assert_eq!(nearest(typed, WORDS), Some(meant), "{typed}");
        }
    }

    #[test]
    fn what_resembles_nothing_finds_nothing() {
        for typed in ["", "tripod", "cl", "xyz", "x"] {
            assert_eq!(nearest(typed, WORDS), None, "{typed}");
        }
        assert_eq!(nearest(&"class".repeat(1000), WORDS), None);
    }

    #[test]
    fn a_swap_of_neighbours_counts_once() {
        let letters = |word: &str| word.chars().collect::<Vec<_>>();
        for (a, b, counted) in [("ab", "ba", 1), ("abc", "", 3), ("", "ab", 2), ("sitting", "kitten", 3), ("a", "a", 0)]
        {
            assert_eq!(distance(&letters(a), &letters(b)), counted, "{a} {b}");
            assert_eq!(distance(&letters(b), &letters(a)), counted, "{b} {a}");
        }
    }
}
