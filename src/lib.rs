//! `closerun` listens to a digital level, keeps the book while the shots arrive, says *hold* before the legs are
//! lifted when something is wrong, and hands over elevations that anyone can recompute.

pub mod adjust;
pub mod book;
pub mod cli;
pub mod config;
pub mod daemon;
pub mod excerpt;
pub mod field;
mod formula;
pub mod link;
pub mod nearest;
pub mod page;
pub mod protocol;
pub mod report;
pub mod simulate;
pub mod store;
pub mod table;
pub mod units;
