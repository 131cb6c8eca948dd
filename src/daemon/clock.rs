//! The clock of the shell, handed in so that a test brings its own.

use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use crate::book::moment::Moment;

/// Tells the time, in two ways.
pub trait Clock {
    /// The wall clock: what people read. It may jump.
    fn wall(&self) -> Moment;
    /// Time since some start that never jumps: what waits and ages are measured by.
    fn steady(&self) -> Duration;
}

/// The machine's clocks.
#[derive(Clone, Copy, Debug)]
pub struct SystemClock(Instant);

impl SystemClock {
    /// Starts to count now.
    pub fn new() -> Self {
        SystemClock(Instant::now())
    }
}

impl Default for SystemClock {
    fn default() -> Self {
        SystemClock::new()
    }
}

impl Clock for SystemClock {
    fn wall(&self) -> Moment {
        let us = match SystemTime::now().duration_since(UNIX_EPOCH) {
            Ok(after) => i64::try_from(after.as_micros()).unwrap_or(i64::MAX),
            Err(before) => i64::try_from(before.duration().as_micros()).map_or(i64::MIN, |us| -us),
        };
        Moment::from_us(us)
    }

    fn steady(&self) -> Duration {
        self.0.elapsed()
    }
}
