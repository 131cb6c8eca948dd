//! Mark cards as lines, for a terminal and for whoever copies one by hand.

use super::Cards;

/// All cards, a rule between two.
pub fn text(cards: &Cards) -> String {
    let mut out = String::new();
    if cards.simulated {
        out.push_str("SIMULATED: a simulated instrument was heard; nothing here was measured\n");
    }
    for card in &cards.cards {
        out.push_str(&"-".repeat(72));
        let across = card.across.map_or("", |across| across.words());
        out.push_str(format!("\n{:<56} {across:>15}", card.name).trim_end_matches(' '));
        out.push('\n');
        out.push_str(&format!("{}   {}\n", card.elevation, card.other));
        let by = card.by.as_ref().map_or_else(|| "set by ________".to_owned(), |by| format!("set by {by}"));
        let lines = [card.stands_for.as_ref(), Some(&card.set), Some(&card.known), Some(&card.hangs_on)];
        for line in lines.into_iter().flatten() {
            out.push_str(&format!("{line}\n"));
        }
        out.push_str(&format!("{}, {by}\n", card.date));
        out.push_str(&format!("{}, event and hash {}\n", card.code.job, card.code.written()));
    }
    out
}
