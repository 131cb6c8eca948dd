//! The rest of the day's work: published worked examples come out as they were printed; activities are guided shot by
//! shot, kept as events, replayed to the same result, and refused in a sentence where they cannot be done.

#[path = "../harness/mod.rs"]
mod harness;

mod at_desk;
mod cards;
mod codes;
mod guided;
mod published;
