//! A run laid out as a page of the trade's field book, from what the reducer made of it.
//!
//! Both forms stand side by side: height of instrument, and rise and fall from each sight to the next. The sums are
//! those at the foot of the page.

use closerun::book::run::{Run, Setup, Shot};
use closerun::units::Length;

/// One line: a point, what was read on it, and what that came to.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    pub point: String,
    pub backsight: Option<Length>,
    pub intermediate_sight: Option<Length>,
    pub foresight: Option<Length>,
    pub height_of_instrument: Option<Length>,
    /// From the sight before, on the same setup; falls are negative.
    pub rise: Option<Length>,
    /// By the height of instrument.
    pub elevation: Option<Length>,
    /// The setup from which the point was first seen on this line; 0 at the start.
    pub setup: u32,
}

/// A page with its sums.
#[derive(Debug)]
pub struct Page {
    pub lines: Vec<Line>,
    pub sum_backsight: Length,
    pub sum_foresight: Length,
    pub sum_rise: Length,
    pub sum_fall: Length,
}

/// Lays out a run whose sights are single shots.
pub fn page(run: &Run) -> Page {
    let mut lines: Vec<Line> = Vec::new();
    for setup in &run.setups {
        let instrument = setup.instrument().and_then(|level| run.elevation(level));
        let back = single(&setup.back);
        let datum = instrument.map(|instrument| instrument - back);
        // The backsight stands on the line of the foresight that it follows.
        if lines.is_empty() {
            lines.push(Line { elevation: datum, ..line(run.start.as_str(), 0) });
        }
        let last = lines.last_mut().unwrap();
        assert_eq!(last.point, setup.back_point.as_str());
        assert_eq!(last.elevation, datum, "the height is carried over without a difference");
        (last.backsight, last.height_of_instrument) = (Some(back), instrument);
        lines.extend(sighted(run, setup, back));
    }
    let sum = |of: fn(&Line) -> Option<Length>| lines.iter().filter_map(of).sum();
    Page {
        sum_backsight: sum(|line| line.backsight),
        sum_foresight: sum(|line| line.foresight),
        sum_rise: sum(|line| line.rise.filter(|rise| *rise > Length::ZERO)),
        sum_fall: sum(|line| line.rise.filter(|rise| *rise < Length::ZERO).map(|fall| -fall)),
        lines,
    }
}

/// The lines of what was seen from a setup after its backsight.
fn sighted(run: &Run, setup: &Setup, back: Length) -> Vec<Line> {
    let mut before = back;
    let mut rise = |value: Length| std::mem::replace(&mut before, value) - value;
    let mut lines = Vec::new();
    for side in &setup.sides {
        lines.push(Line {
            intermediate_sight: Some(side.shot.value),
            rise: Some(rise(side.shot.value)),
            elevation: setup.side_level(side).and_then(|level| run.elevation(level)),
            ..line(side.point.as_str(), setup.number)
        });
    }
    if let Some(point) = &setup.fore_point {
        let fore = single(&setup.fore);
        lines.push(Line {
            foresight: Some(fore),
            rise: Some(rise(fore)),
            elevation: setup.fore_level().and_then(|level| run.elevation(level)),
            ..line(point.as_str(), setup.number)
        });
    }
    lines
}

fn line(point: &str, setup: u32) -> Line {
    Line {
        point: point.to_owned(),
        backsight: None,
        intermediate_sight: None,
        foresight: None,
        height_of_instrument: None,
        rise: None,
        elevation: None,
        setup,
    }
}

fn single(shots: &[Shot]) -> Length {
    let [shot] = shots else { panic!("one shot a sight was wanted, {shots:?} found") };
    shot.value
}
