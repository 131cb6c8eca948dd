//! A sketch of the network: which lines join which marks. There are no coordinates in a level book, so places on it mean
//! nothing; marks stand as far apart as there are lines between them, as nearly as a sheet allows.
//!
//! ```text
//! least sum over pairs of  (|p_i - p_j| - d_ij)^2 / d_ij^2
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | p_i | place of mark i | lines |
//! | d_ij | lines on the shortest way between two marks | lines |
//!
//! Each turn moves every mark to the mean of where the others want it, which never makes the sum larger.
//! Source: stress majorization, Gansner, Koren and North 2004, from memory.

use std::collections::VecDeque;
use std::f64::consts::TAU;

use super::canvas::{Anchor, Canvas, Job, LETTER, Place};
use super::{Plot, WIDTHS};
use crate::report::document::FieldBook;
use crate::report::document::full::tree::{AdjustedFigures, AdjustedLine};

/// More marks than this make no picture that anybody could read.
const MARKS_MAX: usize = 40;
/// Turns of the layout: nobody sees what more of them change. A long chain is a little bowed by then.
const TURNS: usize = 150;
/// The longest name that is written in full.
const NAME_MAX: usize = 18;
/// From a mark to its name.
const NAME_AWAY: f64 = 12.0;
/// Air about the marks, for their names.
const MARGIN: Place = (96.0, 34.0);

/// The sketch; `None` for a network of too many marks, or of none.
pub fn network(book: &FieldBook, figures: &AdjustedFigures, width: u32) -> Option<Plot> {
    let lines = &figures.lines;
    let mut marks: Vec<&str> = Vec::new();
    for line in lines {
        for name in [&line.from, &line.to] {
            if !marks.contains(&name.as_str()) {
                marks.push(name);
            }
        }
        if marks.len() > MARKS_MAX {
            return None;
        }
    }
    if marks.is_empty() {
        return None;
    }
    let place_of = |name: &str| marks.iter().position(|mark| *mark == name).unwrap_or_default();
    let joins: Vec<(usize, usize)> = lines.iter().map(|line| (place_of(&line.from), place_of(&line.to))).collect();
    let width = width.clamp(*WIDTHS.start(), *WIDTHS.end());
    let laid = lay_out(&distances(marks.len(), &joins));
    let (places, height) = fit(&laid, f64::from(width));

    let mut canvas = Canvas::new(width, height);
    for (index, (line, &join)) in lines.iter().zip(&joins).enumerate() {
        draw_line(&mut canvas, index + 1, line, bend(&joins, index), (places[join.0], places[join.1]));
    }
    for (mark, (name, &(x, y))) in marks.iter().zip(&places).enumerate() {
        match book.known.iter().find(|known| known.point == *name) {
            Some(known) if known.assumed => canvas.diamond(Job::Observed, (x, y)),
            Some(_) => canvas.triangle(Job::Observed, (x, y)),
            None => canvas.round(Job::Observed, (x, y)),
        }
        let (dx, dy) = free_side(mark, &joins, &places);
        let anchor = match dx {
            left if left < -0.4 => Anchor::End,
            right if right > 0.4 => Anchor::Start,
            _ => Anchor::Middle,
        };
        canvas.text((x + NAME_AWAY * dx, y + NAME_AWAY * 1.2 * dy + LETTER / 3.0), anchor, &short(name));
    }
    let known: Vec<&str> = marks.iter().copied().filter(|mark| book.known.iter().any(|k| k.point == *mark)).collect();
    let words = format!(
        "Sketch of the network: {} marks, {}; held: {}. Lines are numbered as in the table; places and distances mean \
         nothing.",
        marks.len(),
        if lines.len() == 1 { "1 line".to_owned() } else { format!("{} lines", lines.len()) },
        known.join(", ")
    );
    Some(canvas.finish("Sketch of the network", words))
}

/// To which side of a mark its name meets no line: the middle of the widest gap between its lines, rather up than down.
fn free_side(mark: usize, joins: &[(usize, usize)], places: &[Place]) -> Place {
    /// So much narrower a gap may be, in radians, if it lies above instead of below.
    const UP: f64 = 0.8;
    let (x, y) = places[mark];
    let lines = joins.iter().filter(|(a, b)| a != b && (*a == mark || *b == mark));
    let mut ways: Vec<f64> = lines
        .map(|&(a, b)| {
            let other = places[if a == mark { b } else { a }];
            f64::atan2(other.1 - y, other.0 - x)
        })
        .collect();
    ways.sort_by(f64::total_cmp);
    let Some(last) = ways.last() else { return (0.0, -1.0) };
    let before = std::iter::once(last - TAU).chain(ways.iter().copied());
    let gaps = before.zip(&ways).map(|(from, to)| (to - from, f64::midpoint(from, *to)));
    // Down is positive on a sheet.
    let worth = |(wide, middle): &(f64, f64)| wide - UP / 2.0 * middle.sin();
    let (_, middle) = gaps.max_by(|one, other| worth(one).total_cmp(&worth(other))).unwrap_or_default();
    (middle.cos(), middle.sin())
}

/// Lines on the shortest ways between all marks. Marks of parts that nothing joins stand a little farther apart than any
/// that are joined.
fn distances(marks: usize, joins: &[(usize, usize)]) -> Vec<Vec<f64>> {
    let mut all: Vec<Vec<Option<u32>>> = vec![vec![None; marks]; marks];
    for (from, row) in all.iter_mut().enumerate() {
        row[from] = Some(0);
        let mut queue = VecDeque::from([(from, 0)]);
        while let Some((here, so_far)) = queue.pop_front() {
            for &(a, b) in joins.iter().filter(|(a, b)| *a == here || *b == here) {
                let there = if a == here { b } else { a };
                if row[there].is_none() {
                    row[there] = Some(so_far + 1);
                    queue.push_back((there, so_far + 1));
                }
            }
        }
    }
    let farthest = all.iter().flatten().flatten().max().copied().unwrap_or(0);
    all.iter().map(|row| row.iter().map(|way| f64::from(way.unwrap_or(farthest + 1))).collect()).collect()
}

/// Places for marks at these distances, from a circle in the order of the marks: the same every time.
fn lay_out(distances: &[Vec<f64>]) -> Vec<Place> {
    let count = distances.len();
    let radius = count as f64 / TAU;
    let mut places: Vec<Place> = (0..count)
        .map(|mark| {
            // From the left, and clockwise as seen on paper.
            let angle = TAU * mark as f64 / count as f64 + TAU / 2.0;
            (radius * angle.cos(), radius * angle.sin())
        })
        .collect();
    for _ in 0..TURNS {
        for mark in 0..count {
            let (mut x, mut y, mut weights) = (0.0, 0.0, 0.0);
            for other in (0..count).filter(|other| *other != mark) {
                let wanted = distances[mark][other];
                let (dx, dy) = (places[mark].0 - places[other].0, places[mark].1 - places[other].1);
                let apart = dx.hypot(dy).max(1e-9);
                let weight = wanted.powi(-2);
                x += weight * (places[other].0 + wanted * dx / apart);
                y += weight * (places[other].1 + wanted * dy / apart);
                weights += weight;
            }
            if weights > 0.0 {
                places[mark] = (x / weights, y / weights);
            }
        }
    }
    lengthwise(&places)
}

/// Turned so that the longest extent lies along the sheet.
fn lengthwise(places: &[Place]) -> Vec<Place> {
    let count = places.len() as f64;
    let (mx, my) = (places.iter().map(|p| p.0).sum::<f64>() / count, places.iter().map(|p| p.1).sum::<f64>() / count);
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for (x, y) in places.iter().map(|(x, y)| (x - mx, y - my)) {
        (xx, xy, yy) = (xx + x * x, xy + x * y, yy + y * y);
    }
    let angle = 0.5 * f64::atan2(2.0 * xy, xx - yy);
    let (sin, cos) = angle.sin_cos();
    let turned = |&(x, y): &Place| ((x - mx) * cos + (y - my) * sin, (y - my) * cos - (x - mx) * sin);
    places.iter().map(turned).collect()
}

/// The places on the sheet, and its height.
fn fit(places: &[Place], width: f64) -> (Vec<Place>, u32) {
    /// A line is drawn this long where there is room.
    const LINE: f64 = 110.0;
    /// The sketch is no higher than this.
    const HEIGHT_MAX: f64 = 320.0;
    let range = |of: fn(&Place) -> f64| {
        let all = places.iter().map(of);
        all.fold((f64::MAX, f64::MIN), |(low, high), value| (low.min(value), high.max(value)))
    };
    let ((left, right), (top, bottom)) = (range(|p| p.0), range(|p| p.1));
    let across = (width - 2.0 * MARGIN.0) / (right - left).max(1e-9);
    let down = (HEIGHT_MAX - 2.0 * MARGIN.1) / (bottom - top).max(1e-9);
    let scale = LINE.min(across).min(down);
    let height = ((bottom - top) * scale + 2.0 * MARGIN.1 + LETTER).ceil();
    let indent = (width - (right - left) * scale) / 2.0;
    let placed = |&(x, y): &Place| (indent + (x - left) * scale, MARGIN.1 + LETTER + (y - top) * scale);
    (places.iter().map(placed).collect(), height as u32)
}

/// How far a line bends to one side: lines between the same two marks lie beside each other.
fn bend(joins: &[(usize, usize)], index: usize) -> f64 {
    let same = |&(a, b): &(usize, usize)| (a, b) == joins[index] || (b, a) == joins[index];
    let of_pair = joins.iter().filter(|join| same(join)).count();
    let before = joins[..index].iter().filter(|join| same(join)).count();
    let aside = before as f64 - (of_pair as f64 - 1.0) / 2.0;
    // Seen from the other end, the other side.
    if joins[index].0 <= joins[index].1 { aside } else { -aside }
}

fn draw_line(canvas: &mut Canvas, number: usize, line: &AdjustedLine, aside: f64, (from, to): (Place, Place)) {
    /// Pieces of a bent line.
    const PIECES: u32 = 12;
    /// How far lines between the same two marks lie apart in their middles, in CSS pixels.
    const APART: f64 = 36.0;
    let (dx, dy) = (to.0 - from.0, to.1 - from.1);
    let length = dx.hypot(dy).max(1e-9);
    let (nx, ny) = (-dy / length, dx / length);
    let at = |part: f64| {
        let out = 4.0 * part * (1.0 - part) * aside * APART;
        (from.0 + dx * part + nx * out, from.1 + dy * part + ny * out)
    };
    let track: Vec<Place> = (0..=PIECES).map(|piece| at(f64::from(piece) / f64::from(PIECES))).collect();
    canvas.path(if line.doubtful { Job::Over } else { Job::Ground }, &track);
    let middle = at(0.5);
    let out = if aside < 0.0 { -9.0 } else { 9.0 };
    canvas.text((middle.0 + nx * out, middle.1 + ny * out + LETTER / 3.0), Anchor::Middle, &number.to_string());
}

fn short(name: &str) -> String {
    match name.chars().count() > NAME_MAX {
        true => name.chars().take(NAME_MAX - 1).chain(['\u{2026}']).collect(),
        false => name.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn apart(a: Place, b: Place) -> f64 {
        (a.0 - b.0).hypot(a.1 - b.1)
    }

    #[test]
    fn a_chain_is_laid_out_as_a_line_and_a_square_as_a_square() {
        let chain = lay_out(&distances(4, &[(0, 1), (1, 2), (2, 3)]));
        assert!((apart(chain[0], chain[3]) - 3.0).abs() < 0.05, "{chain:?}");
        assert!(chain.iter().all(|place| place.1.abs() < 0.1), "it lies along the sheet, hardly bowed: {chain:?}");
        let square = lay_out(&distances(4, &[(0, 1), (1, 2), (2, 3), (3, 0)]));
        let sides: Vec<f64> = (0..4).map(|at| apart(square[at], square[(at + 1) % 4])).collect();
        assert!(sides.iter().all(|side| (side - sides[0]).abs() < 0.02 && *side > 0.8), "{sides:?}");
    }

    #[test]
    fn names_stand_where_no_line_is() {
        let places = [(0.0, 0.0), (10.0, 0.0), (20.0, 0.0), (10.0, 10.0)];
        let side = |mark, joins: &[(usize, usize)]| free_side(mark, joins, &places);
        let same = |found: Place, wanted: Place| assert!(apart(found, wanted) < 1e-9, "{found:?}, wanted {wanted:?}");
        let chain = [(0, 1), (1, 2)];
        same(side(0, &chain), (-1.0, 0.0));
        same(side(1, &chain), (0.0, -1.0));
        same(side(2, &chain), (1.0, 0.0));
        same(side(1, &[(0, 1), (1, 2), (1, 3)]), (0.0, -1.0));
        same(side(1, &[(1, 0), (3, 1)]), (0.5f64.sqrt(), -(0.5f64.sqrt())));
    }

    #[test]
    fn lines_between_the_same_marks_lie_beside_each_other() {
        let joins = [(0, 1), (1, 0), (1, 2)];
        let bends: Vec<f64> = (0..3).map(|index| bend(&joins, index)).collect();
        // The second runs the other way, where the other side is meant by the same sign.
        assert_eq!(bends, [-0.5, -0.5, 0.0]);
    }
}
