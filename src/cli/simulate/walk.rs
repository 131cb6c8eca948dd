//! An invented run for a simulated instrument: setups one behind another with balanced sights, without end or round to
//! where it began.

use crate::book::reading::PointName;
use crate::simulate::Chance;
use crate::simulate::scene::{Setup, Sight, Staff};
use crate::units::Length;

/// The point that the run begins on, and its elevation in mm.
pub(super) const START: (&str, i64) = ("BM-1", 52_348);
/// The most that a setup rises or falls, in mm: with the instrument where it is set, both readings stay on any staff.
const RISE_MAX_MM: i64 = 400;
/// The line of sight above the back point, in mm: at least, and by how much more at most.
const LINE_MM: (i64, usize) = (1_000, 800);
/// Sight lengths in mm: at least, by how much more at most, and how far two of a setup differ at most.
const SIGHT_MM: (i64, usize) = (12_000, 20_000);
const IMBALANCE_MAX_MM: i64 = 300;

/// Makes setups.
pub(super) struct Walk {
    chance: Chance,
    /// Setups until the run is back on its start, if it is to come back.
    left: Option<u32>,
    number: u32,
    above_start_mm: i64,
}

impl Walk {
    /// A run of so many setups that comes back, or one without end.
    pub(super) fn new(setups: Option<u32>, chance: Chance) -> Self {
        Walk { chance, left: setups, number: 0, above_start_mm: 0 }
    }

    /// The next setup.
    pub(super) fn setup(&mut self) -> Setup {
        let left = self.left.map(|left| left.saturating_sub(1));
        let (from_name, from_mm) = (self.name(), START.1 + self.above_start_mm);
        // It never goes farther than the setups that are left can bring it back.
        let most = left.map_or(RISE_MAX_MM * 8, |left| i64::from(left).min(8) * RISE_MAX_MM);
        let rise = self.between(RISE_MAX_MM);
        self.above_start_mm = (self.above_start_mm + rise).clamp(-most, most);
        self.number += 1;
        self.left = left;
        let back_mm = SIGHT_MM.0 + self.chance.below(SIGHT_MM.1) as i64;
        let fore_mm = back_mm + self.between(IMBALANCE_MAX_MM);
        let back = sight(from_name, from_mm, back_mm);
        let fore = sight(self.name(), START.1 + self.above_start_mm, fore_mm);
        Setup::new(Length::from_mm(LINE_MM.0 + self.chance.below(LINE_MM.1) as i64), back, fore)
    }

    fn name(&self) -> PointName {
        let text = match (self.number, self.left) {
            (0, _) | (_, Some(0)) => START.0.to_owned(),
            (number, _) => format!("TP{number}"),
        };
        PointName::new(&text).expect("a visible name")
    }

    fn between(&mut self, most: i64) -> i64 {
        self.chance.below(2 * most as usize + 1) as i64 - most
    }
}

fn sight(point: PointName, elevation_mm: i64, distance_mm: i64) -> Sight {
    Sight { point, elevation: Length::from_mm(elevation_mm), distance: Length::from_mm(distance_mm), staff: Staff::A }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every setup balanced, every reading on a staff of 2 m, each setup begun where the last ended.
    fn is_sound(setups: &[Setup]) {
        for setup in setups {
            let balance = (setup.back.distance - setup.fore.distance).abs();
            assert!(balance <= Length::from_mm(IMBALANCE_MAX_MM), "{balance:?}");
            for sight in [&setup.back, &setup.fore] {
                let reads = setup.line - sight.elevation;
                assert!(reads > Length::from_mm(500) && reads < Length::from_mm(2_300), "{reads:?}");
            }
        }
        for pair in setups.windows(2) {
            assert_eq!((&pair[0].fore.point, pair[0].fore.elevation), (&pair[1].back.point, pair[1].back.elevation));
        }
    }

    #[test]
    fn a_run_comes_back_to_its_start() {
        for (seed, count) in [(1, 1), (2, 2), (3, 7), (4, 400)] {
            let mut walk = Walk::new(Some(count), Chance::seeded(seed));
            let setups: Vec<Setup> = (0..count).map(|_| walk.setup()).collect();
            is_sound(&setups);
            let (first, last) = (&setups[0].back, &setups[setups.len() - 1].fore);
            assert_eq!((&first.point, first.elevation), (&last.point, last.elevation));
        }
    }

    #[test]
    fn a_run_without_end_stays_in_the_building() {
        let mut walk = Walk::new(None, Chance::seeded(1));
        let setups: Vec<Setup> = (0..2_000).map(|_| walk.setup()).collect();
        is_sound(&setups);
        let far = setups.iter().map(|setup| (setup.fore.elevation - Length::from_mm(START.1)).abs()).max();
        assert!(far <= Some(Length::from_mm(8 * RISE_MAX_MM)), "{far:?}");
        assert_eq!(setups[1999].fore.point.as_str(), "TP2000");
    }
}
