//! Least-squares adjustment of a levelling network. Pure; numbers in, numbers out, no text but error messages.
//!
//! ```text
//! Given ──▶ network ──▶ weights ──▶ lines ──▶ equations ──▶ solve ──▶ variances ──▶ significance ──▶ Outcome
//! names     checked,    variance    chains    junctions     L L'      of all marks  w, tau, global   snoop
//!           exact       a section   folded    only                    and sections                   proposes
//! ```
//!
//! Model: l + v = A x, with v'Pv least.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | x | corrections to approximate elevations, which are exact sums along the shortest ways from the datum | m |
//! | l | misfits: observed rises less those of the approximate elevations | m |
//! | P | weights 1 / sigma^2, so that the a-priori standard deviation of unit weight is 1 | m^-2 |
//! | v | residuals, adjusted less observed | m |
//!
//! Sign: a rise from `from` to `to` is positive. A correction is added to the value it corrects.
//! Free first: one known mark in each part is held, and the others are compared with what comes out. Then all known marks
//! are held, fixed or by their weights. Both are reported.
//! Needs: each part of the network holds a known mark; [`Network`] refuses others.
//! Gives: elevations and rises with standard deviations and intervals, residuals, redundancy numbers, the global test, the
//! tests of single observations with a-priori and with a-posteriori sigma, smallest detectable mistakes and what they do.
//! Never: nothing is taken out or corrected here; [`snoop`] proposes, a person decides.
//! Cost: lines of marks between junctions in linear time; junctions as sparse Cholesky does, about u^1.5 on a grid.
//! Sources: in each file. Checked against: every example of `fixtures/adjustment`, NumPy and SciPy on generated networks.
//!
//! Floats begin in `weights` and `equations`; everything before is exact.

mod adjustment;
mod approximate;
mod assemble;
mod cheapest;
mod control;
pub mod csv;
mod equations;
#[cfg(test)]
mod example;
pub mod explain;
mod exposure;
pub mod given;
mod incidence;
pub mod levelled;
mod lines;
mod names;
pub mod network;
pub mod observed;
pub mod outcome;
pub mod plan;
mod problem;
pub mod refusal;
mod selected;
pub mod significance;
pub mod snoop;
mod solve;

mod trials;
mod variances;
pub mod weights;

pub use adjustment::{Effects, Options, adjust};
pub use approximate::Part;
pub use exposure::EXPOSURE_MAX;
pub use given::{Given, Hold, KnownMark, Section};
pub use network::{MarkId, Network, SectionId};
pub use outcome::Outcome;
pub use plan::plan;
pub use refusal::NetworkError;
pub use weights::WeightRule;
