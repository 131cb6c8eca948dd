//! The page check: sum of backsights less sum of foresights, sum of rises less sum of falls, and last less first
//! elevation must be one and the same, exactly.
//!
//! It is made over the lines as they stand in the field book, not over what they were made from, so that it proves
//! what is printed. It proves the arithmetic, not the field work.
//! Source: US Navy training manual 14071, Level Computations.

use super::figure::Scales;
use super::tree::{Figure, Line, PageCheck, Shown};
use crate::units::Length;

/// The page checks over these lines: one for each stretch that hangs together.
///
/// A setup counts once it has both sights; its backsight may stand in the lines without them.
pub fn page_check(shown: &Shown, lines: &[Line]) -> Vec<PageCheck> {
    let mut checks = Vec::new();
    let mut sums: Option<Sums<'_>> = None;
    let mut setup: Option<Open> = None;
    for (line, number) in lines.iter().zip(1..) {
        if let Some(sight) = &line.foresight {
            match (&mut sums, setup.take(), &sight.booked) {
                (Some(sums), Some(mut open), Some(fore)) => {
                    open.climb(line);
                    sums.take(open, fore, sight.sight_length.as_ref(), (line, number));
                }
                _ => checks.extend(sums.take().and_then(|sums| sums.check(shown))),
            }
        } else if line.intermediate.is_some()
            && let Some(open) = &mut setup
        {
            open.climb(line);
        }
        if let Some(sight) = &line.backsight
            && let Some(back) = &sight.booked
        {
            let begins = sums.as_ref().is_none_or(|sums| sums.last.1 != number);
            if begins {
                checks.extend(sums.take().and_then(|sums| sums.check(shown)));
            }
            sums.get_or_insert_with(|| Sums::from((line, number)));
            setup = Some(Open {
                back: back.exact,
                sight: sight.sight_length.as_ref().map(|sight| sight.exact),
                rises: Length::ZERO,
                falls: Length::ZERO,
            });
        }
    }
    checks.extend(sums.and_then(|sums| sums.check(shown)));
    checks
}

/// A setup whose foresight is still to come.
struct Open {
    back: Length,
    sight: Option<Length>,
    rises: Length,
    falls: Length,
}

impl Open {
    fn climb(&mut self, line: &Line) {
        self.rises += line.rise.as_ref().map_or(Length::ZERO, |figure| figure.exact);
        self.falls += line.fall.as_ref().map_or(Length::ZERO, |figure| figure.exact);
    }
}

/// What has been added up over a stretch.
struct Sums<'a> {
    /// The first line with its number, and the last.
    first: (&'a Line, u32),
    last: (&'a Line, u32),
    setups: u32,
    back: Length,
    fore: Length,
    rises: Length,
    falls: Length,
    back_sights: Option<Length>,
    fore_sights: Option<Length>,
    rounded: Vec<Length>,
}

impl<'a> Sums<'a> {
    fn from(line: (&'a Line, u32)) -> Self {
        Sums {
            first: line,
            last: line,
            setups: 0,
            back: Length::ZERO,
            fore: Length::ZERO,
            rises: Length::ZERO,
            falls: Length::ZERO,
            back_sights: Some(Length::ZERO),
            fore_sights: Some(Length::ZERO),
            rounded: Vec::new(),
        }
    }

    fn take(&mut self, open: Open, fore: &Figure, fore_sight: Option<&Figure>, line: (&'a Line, u32)) {
        let add = |sum: Option<Length>, sight: Option<Length>| Some(sum? + sight?);
        self.setups += 1;
        self.back += open.back;
        self.fore += fore.exact;
        self.rises += open.rises;
        self.falls += open.falls;
        self.back_sights = add(self.back_sights, open.sight);
        self.fore_sights = add(self.fore_sights, fore_sight.map(|sight| sight.exact));
        self.rounded.extend([open.back, fore.exact]);
        self.last = line;
    }

    /// The check; none if no setup has both sights.
    fn check(self, shown: &Shown) -> Option<PageCheck> {
        (self.setups > 0).then_some(())?;
        let scales = Scales::from(shown);
        let level = |length| scales.level(length);
        let sight = |length| scales.sight(length);
        let ((first_line, first_number), (last_line, last_number)) = (self.first, self.last);
        let (first, last) = (&first_line.elevation, &last_line.elevation);
        let climbed = first.as_ref().zip(last.as_ref()).map(|(first, last)| last.exact - first.exact);
        let by_sights = self.back - self.fore;
        let by_rises = self.rises - self.falls;
        let differences = [Some(by_sights - by_rises), climbed.map(|climbed| by_sights - climbed)];
        let off = differences.into_iter().flatten().map(Length::abs).max().unwrap_or(Length::ZERO);
        let name = |line: &Line| line.point.clone().unwrap_or_default();
        Some(PageCheck {
            from: name(first_line),
            to: name(last_line),
            first_line: first_number,
            last_line: last_number,
            sum_backsights: level(self.back),
            sum_foresights: level(self.fore),
            backsights_less_foresights: level(by_sights),
            sum_rises: level(self.rises),
            sum_falls: level(self.falls),
            rises_less_falls: level(by_rises),
            first: first.clone(),
            last: last.clone(),
            last_less_first: climbed.map(level),
            holds: off == Length::ZERO,
            off_by: (off != Length::ZERO).then(|| scales.whole(off)),
            sum_back_sights: self.back_sights.map(sight),
            sum_fore_sights: self.fore_sights.map(sight),
            rounded: !self.rounded.into_iter().all(|length| scales.shows_exactly(length)),
        })
    }
}
