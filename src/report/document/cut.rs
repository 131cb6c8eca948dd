//! A run cut into pages at turning points, so that each page has its own page check.

use super::tree::Line;

/// How far the page that begins with line `start` reaches: the farthest turning point for which there is room, or the
/// nearest where there is room for none, which is then said.
///
/// `height` tells what a line takes, in whatever measure `room` is given.
pub(in crate::report) fn page_end(
    lines: &[Line],
    start: usize,
    room: f64,
    height: impl Fn(&Line) -> f64,
) -> (usize, bool) {
    let last = lines.len().saturating_sub(1);
    let mut used = lines.get(start).map_or(0.0, |line| height(&leaving(line)));
    let mut best = None;
    for (index, line) in lines.iter().enumerate().skip(start + 1) {
        let turns = line.foresight.is_some() || index == last;
        let arriving = if index == last { height(line) } else { height(&arriving(line)) };
        if turns && used + arriving > room {
            return best.map_or((index, false), |end| (end, true));
        }
        if turns {
            best = Some(index);
        }
        used += height(line);
    }
    (last, true)
}

/// The lines from `start` to `end`; at a turning point where the page was or will be cut, what belongs to this side.
pub(in crate::report) fn cut(lines: &[Line], start: usize, end: usize) -> Vec<Line> {
    let mut part = lines[start..=end].to_vec();
    if start > 0 {
        part[0] = leaving(&lines[start]);
    }
    if end + 1 < lines.len()
        && let Some(line) = part.last_mut()
    {
        *line = arriving(line);
    }
    part
}

/// A turning point at the foot of a page.
fn arriving(line: &Line) -> Line {
    Line { backsight: None, height_of_instrument: None, broken: Vec::new(), ..line.clone() }
}

/// The same at the head of the next.
fn leaving(line: &Line) -> Line {
    Line { foresight: None, rise: None, fall: None, remarks: vec!["brought forward".to_owned()], ..line.clone() }
}
