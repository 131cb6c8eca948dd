//! The rest of the day: the level tested, marks trusted, heights matched, targets set, heights carried up and across.
//!
//! Each file is one computation of the trade, complete in itself: numbers in, numbers and verdicts out, no input and no
//! output. What is exact in a book (readings, elevations, their differences) stays in whole [`Length`]s; floats stand in
//! statistics, inclinations and corrections. `guide` leads a crew through an activity of the book with them.
//!
//! [`Length`]: crate::units::Length

pub mod curvature;
pub mod field_test;
mod guide;
pub mod height_match;
pub mod keyed;
pub mod marks;
mod quantiles;
pub mod reciprocal;
pub mod rises;
pub mod set_out;
pub mod tape;
pub mod targets;
pub mod three_wire;
pub mod today;
pub mod two_peg;

pub use guide::{Guide, conclude, guide, inclination, moved, permit};
