//! The adjustment of levelling networks: published examples, refusals, invariants over generated networks, agreement with
//! NumPy and SciPy, and intervals that hold the truth as often as they say.

#[path = "adjustment/generate.rs"]
mod generate;
#[path = "adjustment/intervals.rs"]
mod intervals;
#[path = "adjustment/invariants.rs"]
mod invariants;
#[path = "adjustment/oracle.rs"]
mod oracle;
#[path = "adjustment/published.rs"]
mod published;
