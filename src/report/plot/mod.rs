//! Plots of a run as SVG: the same drawing on the live page, in a file and on paper.
//!
//! Each shape has a class, which a page may style, and plain attributes, which hold where nothing does. A plot says in
//! one sentence what it shows; the sentence is its text for those who cannot see it. Names come from instruments and
//! are written as text, never as markup.

mod axis;
mod balance;
mod canvas;
mod misclosure;
mod network;
mod profile;
mod residuals;
mod svg;

pub use balance::balance;
pub use canvas::{Anchor, Drawing, INK, Job, LETTER, Look, Place, ROUND_RADIUS, Shape};
pub use misclosure::misclosure;
pub use network::network;
pub use profile::profile;
pub use residuals::residuals;

/// A drawn plot.
#[derive(Clone, Debug, PartialEq)]
pub struct Plot {
    /// The drawing as a whole SVG document.
    pub svg: String,
    /// What it shows, in one sentence.
    pub words: String,
    /// The drawing itself, for paper.
    pub drawing: Drawing,
}

/// How wide a plot may be, in CSS pixels: a phone to a projector.
pub const WIDTHS: std::ops::RangeInclusive<u32> = 280..=1600;
