//! What a field that was made up holds, by chance.

use super::dice::Dice;
use crate::protocol::record::Content;
use crate::units::Digits;

/// How the content of a field is made.
pub(super) enum Make {
    /// Digits before the point at most, digits behind it at least and at most, sign, and the step of the last digit.
    Number { before: u32, behind: (u64, u64), negative: bool, times: u64 },
    /// Characters of these, at least and at most so many.
    Text { of: &'static str, least: u64, most: u64 },
    /// One of these.
    Choice(Vec<&'static str>),
    /// `2026-03-02 10:15:00` and its like.
    Time,
}

impl Make {
    pub(super) fn make(&self, dice: &mut Dice) -> Content {
        match self {
            Make::Number { before, behind, negative, times } => {
                let places = behind.0 + dice.below(behind.1 - behind.0 + 1);
                let most = 10u64.pow(*before) * 10u64.pow(places as u32) / times;
                let bound = if dice.one_in(4) { most.min(3) } else { most };
                let number = dice.below(bound) * times;
                let scale = 10u64.pow(places as u32);
                let sign = if *negative && number > 0 && dice.one_in(2) { "-" } else { "" };
                let text = match places {
                    0 => format!("{sign}{number}"),
                    _ => format!("{sign}{}.{:0width$}", number / scale, number % scale, width = places as usize),
                };
                Content::Number(text.parse().unwrap())
            }
            Make::Text { of, least, most } => {
                let letters: Vec<char> = of.chars().collect();
                let len = least + dice.below(most - least + 1);
                Content::Text((0..len).map(|_| letters[dice.below(letters.len() as u64) as usize]).collect())
            }
            Make::Choice(of) => Content::Text(dice.pick(of).to_owned()),
            Make::Time => {
                let (month, day, minute) = (1 + dice.below(12), 1 + dice.below(31), dice.below(60));
                Content::Text(format!("20{:02}-{month:02}-{day:02} 10:{minute:02}", dice.below(100)))
            }
        }
    }

    /// A staff reading of at most 4 m, now and then of an inverted staff; `None` where it would have less than a
    /// millimetre.
    pub(super) fn staff(&self, dice: &mut Dice) -> Option<Digits> {
        let Make::Number { before, behind, negative, times } = self else { return None };
        let scale = 10u64.pow(behind.1 as u32);
        let most = 4u64.min(10u64.pow(*before)) * scale / times;
        if scale < 1000 {
            return None;
        }
        let number = (most / 10 + dice.below(most - most / 10)) * times;
        let sign = if *negative && dice.one_in(8) { "-" } else { "" };
        format!("{sign}{}.{:0width$}", number / scale, number % scale, width = behind.1 as usize).parse().ok()
    }
}
