//! Whole runs with a clock that stands still: bytes in, events kept, the crew told.
//!
//! Which fault each holds a promise against, and where a promise is broken on purpose: `tests/PROMISES.md`.

#[path = "../harness/mod.rs"]
mod harness;

mod activities;
mod bytes;
mod chunks;
mod endless;
mod keeping;
mod line;
mod rig;
mod several;
mod soak;
mod stand_ins;
mod telling;
