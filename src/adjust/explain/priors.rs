//! How often each mistake happens, before anything of this run is looked at.
//!
//! No published count of levelling blunders by kind is known to us: every figure here is common practice, no source. They
//! matter only as ratios to one another; evidence usually outweighs them by far. A reading that an instrument sent cannot
//! have its digits turned, and hardly ever a whole metre in it; one that a person read and typed can.
//!
//! Sizes: where a mistake may have any size, no size is preferred (its logarithm is uniform) between the two that are
//! given; staff zeros and collimation are normally distributed about none.

/// What is said of all figures in this file.
pub const BASIS: &str = "common practice, no source";

/// A setup whose backsight and foresight are exchanged.
pub(super) const EXCHANGED: f64 = 1.0 / 2_000.0;
/// A reading that lost the sign of an inverted staff, in a job that has inverted readings, and in one that has none.
pub(super) const SIGN_LOST: [f64; 2] = [1.0 / 100.0, 1.0 / 10_000.0];
/// A whole metre, decimetre, foot or tenth in a reading that a person typed, and in one that an instrument sent.
pub(super) const WHOLE_UNIT: [f64; 2] = [1.0 / 200.0, 1.0 / 20_000.0];
/// Two digits exchanged in a reading that a person typed: any two neighbours of it.
pub(super) const TURNED_READING: f64 = 1.0 / 200.0;
/// The same in a known elevation.
pub(super) const TURNED_ELEVATION: f64 = 1.0 / 100.0;
/// A repeat that was booked as the next sight.
pub(super) const REPEAT: f64 = 1.0 / 500.0;
/// A mark that was taken for another.
pub(super) const WRONG_MARK: f64 = 1.0 / 200.0;
/// A pair of staffs whose zeros differ enough to matter, and the standard deviation of the difference, mm. The size is that
/// of the effect of a staff's index on a section in a training table of the US National Geodetic Survey.
pub(super) const STAFF_ZERO: (f64, f64) = (1.0 / 20.0, 1.0);
/// A line of sight that is out of adjustment, and the standard deviation of its inclination, mm/m.
pub(super) const COLLIMATION: (f64, f64) = (1.0 / 20.0, 0.1);
/// Staff zeros and collimation beyond so many standard deviations do not happen: the staff or the level would be broken.
pub(super) const NORMAL_MOST: f64 = 5.0;
/// One shot that is off against its own repeats.
pub(super) const AGAINST_REPEATS: f64 = 1.0 / 500.0;
/// A known point that has moved.
pub(super) const KNOWN_MOVED: f64 = 1.0 / 100.0;
/// A turning point that was disturbed while the instrument was carried on.
pub(super) const TURNING_POINT: f64 = 1.0 / 500.0;

/// Between which sizes a point moves, or a shot is off, mm.
pub(super) const SIZE_MM: [f64; 2] = [0.5, 500.0];

/// Density of a size without preference, either way, per mm; zero beyond [`SIZE_MM`].
pub(super) fn size_density(size_mm: f64) -> f64 {
    let [least, most] = SIZE_MM;
    let size = size_mm.abs();
    if (least..=most).contains(&size) { 1.0 / (2.0 * size * (most / least).ln()) } else { 0.0 }
}
