//! How far curvature and refraction reach: the horizon of a height, and the height that is lost over a distance.
//!
//! ```text
//! lost   h = (1 - k) S^2 / (2 R)         what a level line of sight passes above the sea's curve
//! seen   S = sqrt(2 R h / (1 - k))       how far the horizon of a height is
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | S | distance | m |
//! | h | height | m |
//! | k | coefficient of refraction; 0.14 is the usual one, from memory | - |
//! | R | mean radius of the earth | m |
//!
//! Source: as `book::corrections`, which takes the same from readings. Checked against:
//! `fixtures/field/curvature_refraction_combined.toml` and `curvature_refraction_lighthouse.toml`.

use crate::book::corrections::{EARTH_RADIUS_M, curvature_and_refraction_m};
use crate::units::Length;

/// The coefficient of refraction where nobody gives another. Usual, from memory; near a warm surface it is far off.
pub const USUAL_K: f64 = 0.14;

/// How much too high a staff at this distance is read. None beyond any length that can be booked.
pub fn lost(distance: Length, k: f64) -> Option<Length> {
    Length::from_f64_m(curvature_and_refraction_m(k, distance.to_f64_m()))
}

/// How far away the horizon is for an eye at this height: what stands lower than nothing there is hidden.
///
/// `None` where the height is below nought, or where refraction bends as much as the earth and there is no horizon.
pub fn horizon(height: Length, k: f64) -> Option<Length> {
    if height < Length::ZERO || k >= 1.0 {
        return None;
    }
    Length::from_f64_m((2.0 * EARTH_RADIUS_M * height.to_f64_m() / (1.0 - k)).sqrt())
}
