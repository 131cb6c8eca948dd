//! The clock of the shell, handed in so that a test brings its own.

use std::time::{Duration, SystemTime, UNIX_EPOCH};

use crate::book::moment::Moment;

/// Tells the time, in three ways.
pub trait Clock {
    /// The wall clock: what people read. It may jump.
    fn wall(&self) -> Moment;
    /// Time since some start that never jumps: what waits and ages are measured by. It goes on while the machine sleeps,
    /// where the system tells of that.
    fn steady(&self) -> Duration;
    /// How long the machine has slept since some start, as far as the system tells.
    fn slept(&self) -> Duration;
}

/// The machine's clocks.
#[derive(Clone, Copy, Debug)]
pub struct SystemClock(machine::Start);

impl SystemClock {
    /// Starts to count now.
    pub fn new() -> Self {
        SystemClock(machine::Start::now())
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
        self.0.passed()
    }

    fn slept(&self) -> Duration {
        self.0.slept()
    }
}

/// Linux has a clock that goes on while the machine sleeps, beside one that does not.
#[cfg(target_os = "linux")]
mod machine {
    use std::time::Duration;

    use rustix::time::{ClockId, clock_gettime};

    #[derive(Clone, Copy, Debug)]
    pub(super) struct Start {
        all: Duration,
        awake: Duration,
    }

    impl Start {
        pub(super) fn now() -> Self {
            // In this order, so that what passes between the two looks never counts as sleep.
            let all = read(ClockId::Boottime);
            Start { all, awake: read(ClockId::Monotonic) }
        }

        pub(super) fn passed(self) -> Duration {
            read(ClockId::Boottime).saturating_sub(self.all)
        }

        pub(super) fn slept(self) -> Duration {
            let now = Start::now();
            now.all.saturating_sub(self.all).saturating_sub(now.awake.saturating_sub(self.awake))
        }
    }

    fn read(clock: ClockId) -> Duration {
        Duration::try_from(clock_gettime(clock)).unwrap_or_default()
    }
}

#[cfg(not(target_os = "linux"))]
mod machine {
    use std::time::{Duration, Instant};

    #[derive(Clone, Copy, Debug)]
    pub(super) struct Start(Instant);

    impl Start {
        pub(super) fn now() -> Self {
            Start(Instant::now())
        }

        pub(super) fn passed(self) -> Duration {
            self.0.elapsed()
        }

        pub(super) fn slept(self) -> Duration {
            Duration::ZERO
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_awake_machine_has_not_slept_and_its_time_goes_on() {
        let clock = SystemClock::new();
        let (before, instant) = (clock.steady(), std::time::Instant::now());
        std::thread::yield_now();
        let (passed, elapsed) = (clock.steady() - before, instant.elapsed());
        assert!(passed.abs_diff(elapsed) < Duration::from_secs(1), "{passed:?} of {elapsed:?}");
        assert!(clock.slept() < Duration::from_millis(100), "{:?}", clock.slept());
    }
}
