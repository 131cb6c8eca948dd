//! A number in a cell of text, and how the numbers of a whole column are written.

use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::ops::Range;

use super::words;
use crate::units::Decimal;

/// The most digits of a number: more are a serial number or noise.
const DIGITS_MAX: usize = 15;

/// A number in a cell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Figure {
    pub(super) value: Decimal,
    /// Its digits and its decimal mark.
    digits: Range<usize>,
    mark: Option<u8>,
    sign: Option<Sign>,
}

/// A sign that stands there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Sign {
    byte: u8,
    side: Side,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Side {
    Front,
    Behind,
}

/// The one number of a cell; a cell with two of them holds something else.
pub(super) fn figure(cell: &[u8]) -> Option<Figure> {
    let digit = |at: usize| cell.get(at).is_some_and(u8::is_ascii_digit);
    let begin = (0..cell.len()).find(|&at| digit(at))?;
    let mut end = (begin..cell.len()).find(|&at| !digit(at)).unwrap_or(cell.len());
    let mut mark = None;
    if let Some(&byte @ (b'.' | b',')) = cell.get(end)
        && digit(end + 1)
    {
        mark = Some(byte);
        end = (end + 1..cell.len()).find(|&at| !digit(at)).unwrap_or(cell.len());
    }
    if (end..cell.len()).any(digit) {
        return None;
    }
    let decimals = mark.map_or(0, |_| (begin..end).rev().take_while(|&at| digit(at)).count());
    let digits: Vec<u8> = cell[begin..end].iter().copied().filter(u8::is_ascii_digit).collect();
    if digits.len() > DIGITS_MAX {
        return None;
    }
    let at = |at: Option<usize>, side| {
        let byte = *cell.get(at?)?;
        matches!(byte, b'+' | b'-').then_some(Sign { byte, side })
    };
    let front = at(begin.checked_sub(1), Side::Front);
    let sign = front.or_else(|| at(Some(end), Side::Behind).filter(|_| end + 1 == cell.len() || cell[end + 1] == b' '));
    let size: i64 = std::str::from_utf8(&digits).ok()?.parse().ok()?;
    let mantissa = if sign.is_some_and(|sign| sign.byte == b'-') { -size } else { size };
    Some(Figure { value: Decimal { mantissa, decimals: decimals as u8 }, digits: begin..end, mark, sign })
}

impl Figure {
    /// The digits with their sign.
    fn signed(&self) -> Range<usize> {
        match self.sign {
            Some(Sign { side: Side::Front, .. }) => self.digits.start - 1..self.digits.end,
            Some(Sign { side: Side::Behind, .. }) => self.digits.start..self.digits.end + 1,
            None => self.digits.clone(),
        }
    }
}

/// How the numbers of a column are written, in words of the format language.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Style {
    /// Keys such as `decimals = 5, sign = "both"`, without scale and unit.
    pub(super) keys: Vec<String>,
    /// How many digits always stand behind a point that is sent.
    pub(super) decimals: Option<u8>,
    /// A point is sent.
    pub(super) pointed: bool,
}

/// Whether the width of a cell is given by its columns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Width {
    /// It is.
    Given,
    /// The field must say it where it is padded.
    Own,
}

/// How all of these cells are written, if there are some and they are written alike.
fn style(cells: &[&[u8]], width: Width) -> Option<Style> {
    let figures: Vec<Figure> = cells.iter().map(|cell| figure(cell)).collect::<Option<_>>()?;
    let first = figures.first()?;
    let signs = Signs::of(cells, &figures)?;
    // What stands around the value in every cell belongs to none of them.
    let inner: Vec<Range<usize>> = figures.iter().map(|figure| signs.value(figure)).collect();
    let (before, behind) = affixes(cells, &inner)?;
    let mut keys = Vec::new();
    let literal = |key: &str, bytes: &[u8]| (!bytes.is_empty()).then(|| format!("{key} = {}", words::octets(bytes)));
    keys.extend(literal("before", before));
    keys.extend(literal("behind", behind));
    let inside: Vec<&[u8]> = cells.iter().map(|cell| &cell[before.len()..cell.len() - behind.len()]).collect();
    keys.extend(padding(&inside, &inner, before.len(), width, signs.zeros)?);
    let mut marks = figures.iter().filter_map(|figure| figure.mark);
    let mark = marks.next();
    if marks.any(|other| Some(other) != mark) {
        return None;
    }
    if mark == Some(b',') {
        keys.push("mark = \",\"".to_owned());
    }
    keys.extend(signs.keys());
    let decimals = first.value.decimals;
    let alike = figures.iter().all(|figure| figure.value.decimals == decimals);
    Some(Style { keys, decimals: (mark.is_some() && alike).then_some(decimals), pointed: mark.is_some() })
}

/// The most ways of writing that are told apart in one column: beyond them there is no rule.
const SHAPES_MAX: usize = 32;

/// How the cells are written that a draft is sure of, and all others that can be written so; and which of them are. The
/// rest is damaged, or means something else.
pub(super) fn style_of_most(
    cells: &[&[u8]],
    width: Width,
    is_sure: impl Fn(usize) -> bool,
) -> Option<(Style, Vec<bool>)> {
    if let Some(style) = style(cells, width) {
        return Some((style, vec![true; cells.len()]));
    }
    let shape = |cell: &[u8]| cell.iter().map(|byte| if byte.is_ascii_digit() { b'0' } else { *byte }).collect();
    let mut shapes: BTreeMap<Vec<u8>, Vec<usize>> = BTreeMap::new();
    for (place, cell) in cells.iter().enumerate() {
        shapes.entry(shape(cell)).or_default().push(place);
    }
    let mut shapes: Vec<Vec<usize>> = shapes.into_values().collect();
    shapes.sort_by_key(|places| (!places.iter().any(|place| is_sure(*place)), Reverse(places.len())));
    let mut kept = vec![false; cells.len()];
    let mut common = None;
    for places in shapes.into_iter().take(SHAPES_MAX) {
        places.iter().for_each(|place| kept[*place] = true);
        let together: Vec<&[u8]> = (0..cells.len()).filter(|place| kept[*place]).map(|place| cells[place]).collect();
        match style(&together, width) {
            Some(style) => common = Some(style),
            None => places.iter().for_each(|place| kept[*place] = false),
        }
    }
    let all_sure = (0..cells.len()).all(|place| kept[place] || !is_sure(place));
    common.filter(|_| all_sure).map(|style| (style, kept))
}

/// How signs are written, and whether zeros fill the numbers.
struct Signs {
    plus: Option<u8>,
    side: Side,
    zeros: bool,
}

impl Signs {
    fn of(cells: &[&[u8]], figures: &[Figure]) -> Option<Signs> {
        let zeros = cells.iter().zip(figures).any(|(cell, figure)| {
            let whole = &cell[figure.digits.clone()];
            whole.len() > 1 && whole[0] == b'0' && whole[1].is_ascii_digit()
        });
        let side = figures.iter().find_map(|figure| figure.sign.map(|sign| sign.side)).unwrap_or(Side::Front);
        let plus = figures.iter().any(|figure| figure.sign.is_some_and(|sign| sign.byte == b'+'));
        let all = figures.iter().all(|figure| figure.sign.is_some());
        if figures.iter().any(|figure| figure.sign.is_some_and(|sign| sign.side != side)) || (plus && !all) {
            return None;
        }
        let spaces = !plus
            && zeros
            && figures.iter().any(|figure| figure.sign.is_some())
            && cells.iter().zip(figures).all(|(cell, figure)| {
                let at = match side {
                    Side::Front => figure.digits.start.checked_sub(1),
                    Side::Behind => Some(figure.digits.end),
                };
                figure.sign.is_some() || at.and_then(|at| cell.get(at)) == Some(&b' ')
            });
        let plus = if plus { Some(b'+') } else { spaces.then_some(b' ') };
        Some(Signs { plus, side, zeros })
    }

    /// Where the value stands with its sign, a space that means plus included.
    fn value(&self, figure: &Figure) -> Range<usize> {
        match (self.plus, figure.sign, self.side) {
            (Some(b' '), None, Side::Front) => figure.digits.start - 1..figure.digits.end,
            (Some(b' '), None, Side::Behind) => figure.digits.start..figure.digits.end + 1,
            _ => figure.signed(),
        }
    }

    fn keys(&self) -> Vec<String> {
        let mut keys = Vec::new();
        match self.plus {
            Some(b'+') => keys.push("sign = \"both\"".to_owned()),
            Some(_) => keys.push("sign = \"space\"".to_owned()),
            None => {}
        }
        if self.side == Side::Behind {
            keys.push("sign_at = \"behind\"".to_owned());
        }
        keys
    }
}

/// What stands before and behind the values in every cell, spaces between apart.
fn affixes<'a>(cells: &[&'a [u8]], inner: &[Range<usize>]) -> Option<(&'a [u8], &'a [u8])> {
    let parts = |at: usize| {
        let cell = cells[at];
        let before = cell[..inner[at].start].trim_ascii_end();
        let behind = cell[inner[at].end..].trim_ascii_start();
        (before, behind)
    };
    let (before, behind) = parts(0);
    // Spaces that are there in every cell, as many as in the first, are no padding if nothing else is.
    let same = (0..cells.len()).all(|at| parts(at) == (before, behind));
    same.then_some((before, behind))
}

/// What fills the values up to their width.
fn padding(inside: &[&[u8]], inner: &[Range<usize>], shift: usize, width: Width, zeros: bool) -> Option<Vec<String>> {
    let front = inside.iter().zip(inner).any(|(_, place)| place.start > shift);
    let behind = inside.iter().zip(inner).any(|(cell, place)| place.end - shift < cell.len());
    let (least, most) = (inside.iter().map(|cell| cell.len()).min()?, inside.iter().map(|cell| cell.len()).max()?);
    if front && behind || (zeros && (front || behind)) {
        return None;
    }
    let mut keys = Vec::new();
    if zeros {
        keys.push("pad = \"0\"".to_owned());
    } else if width == Width::Own && (front || behind) {
        keys.push("pad = \" \"".to_owned());
    }
    if behind {
        keys.push("align = \"left\"".to_owned());
    }
    if width == Width::Own && (zeros || front || behind) {
        keys.push(if least == most { format!("width = {least}") } else { format!("width = [{least}, {most}]") });
    }
    Some(keys)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn value(cell: &str) -> Option<(i64, u8)> {
        figure(cell.as_bytes()).map(|figure| (figure.value.mantissa, figure.value.decimals))
    }

    fn keys(cells: &[&str], width: Width) -> Option<String> {
        let cells: Vec<&[u8]> = cells.iter().map(|cell| cell.as_bytes()).collect();
        style(&cells, width).map(|style| style.keys.join(", "))
    }

    #[test]
    fn the_one_number_of_a_cell() {
        assert_eq!(value("1.2834m"), Some((12834, 4)));
        assert_eq!(value("  -1,28"), Some((-128, 2)));
        assert_eq!(value("0299250-"), Some((-299_250, 0)));
        assert_eq!(value("L0012"), Some((12, 0)));
        for none in ["", "TP", "1.2.3", "12:30", "1-2", "1234567890123456"] {
            assert_eq!(value(none), None, "{none}");
        }
    }

    #[test]
    fn what_is_damaged_in_a_column_does_not_change_how_it_is_written() {
        let cells: [&[u8]; 5] = [b"1.28340", b"0.91215", b"2.3050p", b"12.3050", b"1,28340"];
        let (style, kept) = style_of_most(&cells, Width::Own, |place| place < 2).unwrap();
        assert_eq!((style.keys.join(", "), kept), (String::new(), vec![true, true, false, true, false]));
        // What was shown is sure: where it is not written alike, there is no rule.
        assert_eq!(style_of_most(&cells, Width::Own, |place| place < 3), None);
    }

    #[test]
    fn how_a_column_is_written() {
        let own = |cells: &[&str]| keys(cells, Width::Own).unwrap();
        assert_eq!(own(&["1.28", "-0.91"]), "");
        assert_eq!(own(&["+128340", "-091215"]), "pad = \"0\", width = 7, sign = \"both\"");
        assert_eq!(own(&["1,28m", "0,91m"]), "behind = \"m\", mark = \",\"");
        assert_eq!(own(&["  31.42", " 103.08"]), "pad = \" \", width = 7");
        assert_eq!(own(&["H1.28", "H-0.9"]), "before = \"H\"");
        assert_eq!(
            keys(&["0128340 ", "0299250-"], Width::Given).unwrap(),
            "pad = \"0\", sign = \"space\", sign_at = \"behind\""
        );
        assert_eq!(keys(&["1.2m", "1.2ft"], Width::Own), None);
        assert_eq!(keys(&["+1.2", "1.2"], Width::Own), None);
        assert_eq!(keys(&["1.2", "1,2"], Width::Own), None);
    }
}
