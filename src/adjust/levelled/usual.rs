//! How good a line is taken to be where nobody says otherwise: the one rule, for the report of a job and for networks of
//! many.
//!
//! ```text
//! of a line      sigma_setup sqrt(n)
//! of one setup   sigma_setup = sigma_r sqrt(2 / m)
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | sigma_r | standard deviation of one reading, as stated for the job's instrument | mm |
//! | m | readings meaned for each of the two sights of a setup | - |
//! | n | setups of the line; 1 for an intermediate sight | - |
//!
//! What the class allows says how bad a line may be, not how good it is: it judges misclosures, and weighs nothing. A rise
//! up a tape or across a gap has the deviation that its own readings gave it, which the same rule makes comparable.
//! Source: errors of setups added in quadrature, textbook, from memory; the same that expects a misclosure
//! (`book::closure`).

use crate::book::settings::Settings;
use crate::units::Length;

/// The standard deviation of a line of so many setups. None beyond any length that can be booked.
pub fn usual_deviation(settings: &Settings, setups: u32) -> Option<Length> {
    Length::from_f64_m(settings.setup_sd_mm() / 1000.0 * f64::from(setups).sqrt())
}

/// The rule in words, with its number.
pub fn usual_words(settings: &Settings) -> String {
    format!(
        "{:.2} mm per root setup, as one reading is said to be good; what a tape or a gap gave, by its own readings",
        settings.setup_sd_mm()
    )
}
