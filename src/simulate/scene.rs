//! A scene: what stands where in truth, and what a level would read there.
//!
//! ```text
//! reading = line - elevation + sink + c * S + (1 - k) * S^2 / (2 R) + zero + noise
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | line | elevation of the line of sight at the instrument | m |
//! | elevation | of the foot of the staff; above the line the staff hangs inverted and the reading is negative | m |
//! | sink | how far a turning point has sunk since it was the foresight | m |
//! | c | collimation: inclination of the line of sight, positive where it climbs away from the instrument | mm/m |
//! | S | sight length | m |
//! | k, R | coefficient of refraction, mean radius of the earth 6,371,000 m | -, m |
//! | zero | what that staff reads too much at its foot; an inverted staff reads it too much downwards | m |
//! | noise | of one measurement, normally distributed, `hypot(base, slope * S)` | m |
//!
//! Model and signs as in the corrections of the book, turned round: there the errors are taken off, here they are put
//! in. Pure: chance is an argument.

use super::rng::Chance;
use crate::book::reading::{PointName, Reading, Role, Status};
use crate::book::sequence::Sequence;
use crate::units::{Length, LengthError, Measured, Unit};

/// Mean radius of the earth in metres. From memory; a kilometre more or less shows nowhere.
const EARTH_RADIUS_M: f64 = 6_371_000.0;

/// A staff on a point, as seen from a setup.
#[derive(Clone, Debug, PartialEq)]
pub struct Sight {
    /// The point.
    pub point: PointName,
    /// Its true elevation.
    pub elevation: Length,
    /// The true sight length.
    pub distance: Length,
    /// Which staff stands on it.
    pub staff: Staff,
}

/// Which staff of a pair.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Staff {
    /// The one, or the only one.
    A,
    /// The other.
    B,
}

/// One place of the instrument with what is sighted from it.
#[derive(Clone, Debug, PartialEq)]
pub struct Setup {
    /// True elevation of the line of sight at the instrument.
    pub line: Length,
    /// The point whose elevation is carried in.
    pub back: Sight,
    /// The point that the elevation is carried to.
    pub fore: Sight,
    /// Side points, sighted after the first sight of the setup.
    pub sides: Vec<Sight>,
    /// How far the back point has sunk since it was sighted as the fore point.
    pub back_sank: Length,
}

impl Setup {
    /// A setup whose line of sight is this much above the back point, with nothing else about it.
    pub fn new(above_back: Length, back: Sight, fore: Sight) -> Self {
        Setup { line: back.elevation + above_back, back, fore, sides: Vec::new(), back_sank: Length::ZERO }
    }
}

/// The instrument, its errors, and how it writes numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct Level {
    /// Standard deviation of one measurement at no distance.
    pub noise_base: Length,
    /// What a metre of sight adds to it, in quadrature, in mm.
    pub noise_mm_per_m: f64,
    /// Single measurements that make a reading.
    pub measurements: u32,
    /// Inclination of the line of sight in mm per m; positive where it climbs away from the instrument.
    pub collimation_mm_per_m: f64,
    /// Coefficient of refraction.
    pub refraction_k: f64,
    /// What staffs A and B read too much at their feet.
    pub zeros: [Length; 2],
    /// Unit of what it sends.
    pub unit: Unit,
    /// Decimals of a staff reading in that unit.
    pub decimals: u8,
    /// Decimals of a sight length in that unit.
    pub sight_decimals: u8,
    /// Temperature of the air.
    pub temperature_c: f64,
    /// Charge at the first reading, in per cent.
    pub battery_percent: f64,
    /// What a reading takes of it, in per cent.
    pub battery_per_reading: f64,
}

impl Level {
    /// A good level in good air that writes metres: 0.03 mm and 0.002 mm/m of noise, 0.01 mm/m of collimation error. The
    /// sizes are common practice, no source.
    pub fn metric() -> Self {
        Level {
            noise_base: Length::from_um(30),
            noise_mm_per_m: 0.002,
            measurements: 3,
            collimation_mm_per_m: 0.01,
            refraction_k: 0.14,
            zeros: [Length::ZERO; 2],
            unit: Unit::Metre,
            decimals: 5,
            sight_decimals: 2,
            temperature_c: 14.0,
            battery_percent: 91.0,
            battery_per_reading: 0.05,
        }
    }

    /// The same level, writing international feet.
    pub fn feet() -> Self {
        Level { unit: Unit::Foot, ..Level::metric() }
    }

    /// What it reads at `sight` from the line of sight `line`, without noise.
    pub fn aims(&self, line: Length, sight: &Sight, sank: Length) -> Length {
        let distance = sight.distance.to_f64_m();
        let bent = (1.0 - self.refraction_k) * distance * distance / (2.0 * EARTH_RADIUS_M);
        let tilted = self.collimation_mm_per_m / 1000.0 * distance;
        let upright = line - sight.elevation + sank;
        let zero = self.zeros[sight.staff as usize];
        let zero = if upright < Length::ZERO { -zero } else { zero };
        upright + zero + Length::from_f64_m(bent + tilted).unwrap_or(Length::ZERO)
    }

    /// One reading: the mean of its measurements, with their deviation and count.
    ///
    /// # Errors
    /// When the unit and decimals cannot hold it.
    pub fn reads(
        &self,
        line: Length,
        sight: &Sight,
        sank: Length,
        chance: &mut Chance,
    ) -> Result<Reading, LengthError> {
        let distance = sight.distance.to_f64_m();
        let deviation = self.noise_base.to_f64_m().hypot(self.noise_mm_per_m / 1000.0 * distance);
        let count = self.measurements.max(1);
        let noise: Vec<f64> = (0..count).map(|_| deviation * chance.normal()).collect();
        let mean = noise.iter().sum::<f64>() / f64::from(count);
        let squares: f64 = noise.iter().map(|x| (x - mean).powi(2)).sum();
        let aimed = self.aims(line, sight, sank) + Length::from_f64_m(mean).unwrap_or(Length::ZERO);
        // It measures distances to a centimetre or so.
        let seen = Length::from_f64_m(distance + 0.005 * chance.normal()).unwrap_or(sight.distance);

        let mut reading = Reading::of(Measured::from_length(aimed, self.unit, self.decimals)?);
        reading.sight = Some(Measured::from_length(seen.abs(), self.unit, self.sight_decimals)?);
        if count > 1 {
            let spread = (squares / f64::from(count - 1)).sqrt();
            let spread = Length::from_f64_m(spread).unwrap_or(Length::ZERO);
            reading.spread = Some(Measured::from_length(spread, self.unit, self.decimals)?);
        }
        reading.count = Some(count);
        reading.temperature_c = Some(self.temperature_c);
        Ok(reading)
    }

    /// Its state after so many readings.
    pub fn status(&self, readings: u64) -> Status {
        let charge = self.battery_percent - self.battery_per_reading * readings as f64;
        Status {
            battery_percent: Some((charge.max(0.0) * 10.0).round() / 10.0),
            temperature_c: Some(self.temperature_c),
            ..Status::default()
        }
    }
}

/// One shot of a scene.
#[derive(Clone, Debug, PartialEq)]
pub struct Shot {
    /// The setup, counted from 1.
    pub setup: u32,
    /// What the shot is for. The reading does not say it unless whoever sends it puts it in.
    pub role: Role,
    /// Where the staff stands; likewise.
    pub point: PointName,
    /// What would be read without noise.
    pub aimed: Length,
    /// What is read, numbered by the instrument from 1.
    pub reading: Reading,
}

/// All shots of a run, in the order in which a crew takes them in this sequence.
///
/// # Errors
/// When the unit and decimals of the level cannot hold a reading.
pub fn shots(
    level: &Level,
    setups: &[Setup],
    sequence: Sequence,
    chance: &mut Chance,
) -> Result<Vec<Shot>, LengthError> {
    let mut shots = Vec::new();
    for (setup, number) in setups.iter().zip(1u32..) {
        let mut take = |role, sight: &Sight, sank| {
            let mut reading = level.reads(setup.line, sight, sank, chance)?;
            reading.sequence = Some(shots.len() as u64 + 1);
            let aimed = level.aims(setup.line, sight, sank);
            shots.push(Shot { setup: number, role, point: sight.point.clone(), aimed, reading });
            Ok(())
        };
        let roles = sequence.roles(number);
        for (slot, role) in roles.enumerate() {
            if slot == usize::from(sequence.shots) {
                setup.sides.iter().try_for_each(|side| take(Role::Intermediate, side, Length::ZERO))?;
            }
            match role {
                Role::Back => take(role, &setup.back, setup.back_sank)?,
                Role::Fore | Role::Intermediate => take(role, &setup.fore, Length::ZERO)?,
            }
        }
    }
    Ok(shots)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sight(point: &str, elevation: &str, distance_m: i64, staff: Staff) -> Sight {
        Sight {
            point: PointName::new(point).unwrap(),
            elevation: Length::parse(elevation, Unit::Metre).unwrap(),
            distance: Length::from_mm(distance_m * 1000),
            staff,
        }
    }

    fn perfect() -> Level {
        Level {
            noise_base: Length::ZERO,
            noise_mm_per_m: 0.0,
            collimation_mm_per_m: 0.0,
            refraction_k: 1.0,
            ..Level::metric()
        }
    }

    fn digits(level: &Level, setup: &Setup, sequence: &str) -> Vec<String> {
        let shots =
            shots(level, std::slice::from_ref(setup), sequence.parse().unwrap(), &mut Chance::seeded(1)).unwrap();
        shots.iter().map(|shot| shot.reading.staff.digits().to_string()).collect()
    }

    fn setup() -> Setup {
        let (back, fore) = (sight("BM", "52.348", 30, Staff::A), sight("TP1", "52.848", 20, Staff::B));
        Setup::new(Length::from_mm(1500), back, fore)
    }

    #[test]
    fn without_errors_the_readings_are_the_geometry() {
        let mut setup = setup();
        setup.sides.push(sight("ceiling", "56.348", 5, Staff::A));
        setup.sides.push(sight("floor", "52.300", 5, Staff::A));
        assert_eq!(digits(&perfect(), &setup, "BF"), ["1.50000", "-2.50000", "1.54800", "1.00000"]);
        assert_eq!(
            digits(&perfect(), &setup, "BFFB"),
            ["1.50000", "-2.50000", "1.54800", "1.00000", "1.00000", "1.50000"]
        );
        setup.sides.clear();
        let feet = Level { decimals: 3, ..perfect() };
        assert_eq!(digits(&Level { unit: Unit::Foot, ..feet }, &setup, "BFx2"), ["4.921", "4.921", "3.281", "3.281"]);
    }

    #[test]
    fn each_error_does_what_the_model_says() {
        let setup = setup();
        // 0.1 mm/m over 30 m and over 20 m.
        let tilted = Level { collimation_mm_per_m: 0.1, ..perfect() };
        assert_eq!(digits(&tilted, &setup, "BF"), ["1.50300", "1.00200"]);
        // At k = 0.14: 0.06 mm at 30 m and 0.03 mm at 20 m, as tables of curvature and refraction have it.
        let bent = Level { refraction_k: 0.14, ..perfect() };
        assert_eq!(digits(&bent, &setup, "BF"), ["1.50006", "1.00003"]);
        // Staff B reads 0.4 mm too much; hung upside down it reads so much more downwards.
        let pair = Level { zeros: [Length::ZERO, Length::from_um(400)], ..perfect() };
        assert_eq!(digits(&pair, &setup, "BF"), ["1.50000", "1.00040"]);
        let hung = Setup { fore: sight("TP1", "54.848", 20, Staff::B), ..setup.clone() };
        assert_eq!(digits(&pair, &hung, "BF"), ["1.50000", "-1.00040"]);
        // A turning point that has sunk 2 mm is read 2 mm higher.
        let sunk = Setup { back_sank: Length::from_mm(2), ..setup };
        assert_eq!(digits(&perfect(), &sunk, "BF"), ["1.50200", "1.00000"]);
    }

    /// The standard deviation of 4,000 readings at two distances; a fiftieth off once in some hundred thousand tries.
    #[test]
    fn noise_grows_with_the_sight_and_the_reading_says_how_much() {
        let level =
            Level { noise_base: Length::from_um(30), noise_mm_per_m: 0.002, measurements: 1, decimals: 7, ..perfect() };
        let mut chance = Chance::seeded(3);
        for (distance_m, expected_mm) in [(1, 0.03), (50, 0.104_4)] {
            let sight = sight("P", "0", distance_m, Staff::A);
            let line = Length::from_mm(1000);
            let errors: Vec<f64> = (0..4000)
                .map(|_| {
                    (level.reads(line, &sight, Length::ZERO, &mut chance).unwrap().staff.value() - line).to_f64_mm()
                })
                .collect();
            let variance = errors.iter().map(|e| e * e).sum::<f64>() / errors.len() as f64;
            assert!((variance.sqrt() / expected_mm - 1.0).abs() < 0.05, "{} at {distance_m} m", variance.sqrt());
        }
        let several = Level { measurements: 4, ..level };
        let reading = several.reads(Length::ZERO, &sight("P", "-1", 10, Staff::A), Length::ZERO, &mut chance).unwrap();
        assert_eq!(reading.count, Some(4));
        assert!(reading.spread.unwrap().value() > Length::ZERO);
    }

    #[test]
    fn a_seed_repeats_a_run_and_the_battery_runs_down() {
        let run = |seed| {
            let (level, sequence) = (Level::metric(), "aBFFB".parse().unwrap());
            shots(&level, &[setup(), setup()], sequence, &mut Chance::seeded(seed)).unwrap()
        };
        assert_eq!(run(5), run(5));
        assert_ne!(run(5), run(6));
        let roles: String = run(5).iter().map(|s| if s.role == Role::Back { 'B' } else { 'F' }).collect();
        assert_eq!(roles, "BFFBFBBF");
        assert_eq!(run(5).last().unwrap().reading.sequence, Some(8));
        let level = Level { battery_percent: 10.0, battery_per_reading: 0.3, ..Level::metric() };
        assert_eq!(level.status(10).battery_percent, Some(7.0));
        assert_eq!(level.status(1000).battery_percent, Some(0.0));
    }
}
