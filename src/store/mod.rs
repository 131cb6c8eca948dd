//! The job file: every event of a job, in order, durably, so that what was altered later shows.
//!
//! One SQLite file a job. While it is recorded a log (`-wal`) and its index (`-shm`) lie beside it and belong to it; a
//! clean stop leaves one complete file that any SQLite tool opens. The table says itself how it is made (`chain.rs` has
//! the same at length). No SQL stands outside this module.
//!
//! - [`Job`] records: one writer, each append on the disk before it returns.
//! - [`Reader`] reads, also a job that another process records.
//! - [`verify()`] says whether the record is as it was kept, and [`backup()`] makes a complete copy at any time.
//!
//! It is no place for rules: what an event means is the book's affair.

mod backup;
mod chain;
mod fault;
mod hold;
mod job;
mod reader;
mod recover;
mod room;
mod row;
mod schema;
mod verify;
mod whereabouts;

pub use backup::{BackupReport, backup};
pub use chain::{Digest, Head};
pub use fault::{Fault, StoreError};
pub use job::{Closing, Job};
pub use reader::{Events, Reader};
pub use recover::{GoesOn, Recovery};
pub use room::{NEW_JOB_NEEDS, Room, WARN_BELOW};
pub use verify::{Break, Guards, Verification, verify};
pub use whereabouts::PathState;
