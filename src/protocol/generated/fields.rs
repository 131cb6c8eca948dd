//! Fields made up by chance, in words of the format language.

use super::content::Make;
use super::dice::Dice;

/// A field in words of the format language, how wide it is, and how its content is made.
pub(super) struct Words {
    pub(super) keys: String,
    pub(super) wide: usize,
    pub(super) optional: bool,
    pub(super) content: Make,
}

pub(super) fn characters(place: usize, layout: &str, letters: &'static str, unit_from: bool, dice: &mut Dice) -> Words {
    let mut keys = format!("name = \"f{place}\"");
    if place == 0 {
        keys.push_str(", means = \"staff\", ");
        keys.push_str(if unit_from { "unit_from = \"u\"" } else { "unit = \"m\"" });
    }
    let optional = place > 0 && matches!(layout, "separated" | "columns" | "keyed" | "json") && dice.one_in(3);
    if optional {
        keys.push_str(", optional = true");
    }
    let wide = 12;
    let spaced = layout == "spaced";
    let layout = if spaced { "separated" } else { layout };
    let fixed = layout == "columns" || (matches!(layout, "separated" | "keyed") && dice.one_in(2));
    let width = |keys: &mut String| {
        if fixed && layout != "columns" {
            keys.push_str(&format!(", width = {wide}"));
        }
    };
    let content = match if place == 0 { dice.below(2) } else { dice.below(6) } {
        kind @ (0 | 1) => {
            let behind = dice.below(6);
            let mut times = 1;
            let mut range = (behind, behind);
            keys.push_str(", is = \"decimal\"");
            if kind == 1 {
                keys.push_str(&format!(", implied = {behind}"));
                if dice.one_in(4) {
                    times = 5;
                    keys.push_str(", times = 5");
                }
            } else if dice.one_in(4) {
                range = (0, 5);
            } else {
                keys.push_str(&format!(", decimals = {behind}"));
            }
            // JSON knows neither commas nor signs but a minus in front.
            let sign = if layout == "json" { "minus" } else { dice.pick(&["none", "minus", "both", "space"]) };
            keys.push_str(&format!(", sign = \"{sign}\""));
            if layout != "json" {
                // A repeated space would swallow a sign that is a space.
                keys.push_str(&format!(", sign_at = \"{}\"", dice.pick(&["front", "behind"])));
                if kind == 0 && layout != "separated" && layout != "keyed" {
                    keys.push_str(", mark = \",\"");
                }
                if fixed {
                    let fillings =
                        [", pad = \"0\"", ", pad = \"_\"", ", pad = \" \"", ", pad = \" \", align = \"left\""];
                    // Where spaces separate they cannot fill.
                    let most = if spaced { 2 } else { 4 };
                    keys.push_str(fillings[dice.below(most) as usize]);
                }
                width(&mut keys);
            }
            if sign == "space" && layout == "separated" {
                keys = keys.replace("sign = \"space\"", "sign = \"both\"");
            }
            Make::Number { before: 3, behind: range, negative: sign != "none", times }
        }
        2 => {
            keys.push_str(", is = \"integer\"");
            if fixed && layout != "json" {
                keys.push_str(dice.pick(&[", pad = \"0\"", ", pad = \"_\""]));
                width(&mut keys);
            }
            Make::Number { before: 4, behind: (0, 0), negative: false, times: 1 }
        }
        3 => {
            keys.push_str(", is = \"text\"");
            if fixed && layout != "json" {
                keys.push_str(dice.pick(&[", pad = \"_\"", ", pad = \"_\", align = \"right\""]));
                width(&mut keys);
            } else if dice.one_in(2) {
                keys.push_str(", width = [1, 20]");
            }
            Make::Text { of: letters, least: 1, most: 6 }
        }
        4 if !fixed => {
            keys.push_str(", is = \"time\", pattern = \"YYYY-MM-DD hh:mm\"");
            if layout == "separated" || layout == "keyed" {
                // The space of the pattern could be the separator.
                keys = keys.replace("DD hh", "DD_hh");
                let few = vec!["2026-03-02_10:15", "1999-12-31_23:59", "2000-01-01_00:00"];
                return Words { keys, wide, optional, content: Make::Choice(few) };
            }
            Make::Time
        }
        _ => {
            keys.push_str(", is = \"choice\", values = { A = \"a\", AB = \"b\", C0 = \"c\" }");
            if fixed && layout != "json" {
                keys.push_str(", pad = \"_\"");
                width(&mut keys);
            }
            Make::Choice(vec!["A", "AB", "C0"])
        }
    };
    if keys.contains("pad = \"0\"") {
        // Zeros do not show that nothing is there.
        keys = keys.replace("optional = true", "absent = [\"------------\"]");
    }
    Words { keys, wide, optional, content }
}

pub(super) fn binary(place: usize, dice: &mut Dice) -> Words {
    let mut keys = format!("name = \"f{place}\"");
    if place == 0 {
        keys.push_str(", means = \"staff\", unit = \"m\"");
    }
    let behind = dice.below(5);
    let order = dice.pick(&["big", "little"]);
    let content = match if place == 0 { dice.below(4) } else { dice.below(6) } {
        kind @ (0 | 1) => {
            let bytes = [2u64, 3, 4, 8][dice.below(4) as usize];
            let (word, negative) = if kind == 0 { ("unsigned", false) } else { ("signed", true) };
            let times = if dice.one_in(4) { 25 } else { 1 };
            keys.push_str(&format!(
                ", is = \"{word}\", bytes = {bytes}, order = \"{order}\", implied = {behind}, times = {times}"
            ));
            // 16 bits hold 32767 steps of either sign.
            let before = if bytes == 2 { 4u64.saturating_sub(behind) } else { 2 };
            Make::Number { before: before as u32, behind: (behind, behind), negative, times }
        }
        2 => {
            let bytes = dice.pick(&["4", "8"]);
            keys.push_str(&format!(
                ", is = \"float\", bytes = {bytes}, order = \"{order}\", decimals = {}",
                behind.min(4)
            ));
            // Seven digits fit into 24 bits if the number is below 2^24.
            Make::Number { before: 2, behind: (behind.min(4), behind.min(4)), negative: true, times: 1 }
        }
        3 => {
            let sign = dice.pick(&["none", "nibble"]);
            keys.push_str(&format!(", is = \"bcd\", bytes = 4, sign = \"{sign}\", implied = {behind}"));
            Make::Number { before: 2, behind: (behind, behind), negative: sign == "nibble", times: 1 }
        }
        4 => {
            let pad = dice.pick(&["_", "\\u0000"]);
            keys.push_str(&format!(", is = \"text\", bytes = 6, pad = \"{pad}\""));
            Make::Text { of: "ABCxyz0189", least: 1, most: 6 }
        }
        _ => {
            keys.push_str(&format!(
                ", is = \"choice\", bytes = 2, order = \"{order}\", values = {{ \"1\" = \"a\", \"0x0203\" = \"b\" }}"
            ));
            Make::Choice(vec!["1", "0x0203"])
        }
    };
    Words { keys, wide: 0, optional: false, content }
}
