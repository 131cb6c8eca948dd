//! The two clocks beside each other. What a person reads is stamped by the wall clock, which may jump; ages and waits go
//! by the steady one, and so does the decoder, so that no jump ends a record or holds one open.

use std::time::Duration;

use crate::book::moment::Moment;
use crate::daemon::clock::Clock;

/// A disagreement of the two clocks beyond this is a jump; below it is the slow correction that all machines make.
const STEP: Duration = Duration::from_secs(2);
/// A sleep of the machine that is shorter than this misses nothing that its hardware does not hold.
const SLEEP: Duration = Duration::from_secs(2);

/// Inside a record the loop never rests for long: after this much the whole program may have stood still, and the port's
/// thread is to be heard first.
const RESTED_LONG: Duration = Duration::from_millis(500);

/// The clocks of a session.
pub(super) struct Clocks {
    clock: Box<dyn Clock>,
    /// Both at the start, by which the decoder's time is told.
    began: (Moment, Duration),
    /// Both when they were last compared.
    compared: (Moment, Duration),
    /// How long the machine had slept by then.
    slept: Duration,
    /// When the loop began to rest.
    rests: Duration,
    /// For how long in all the port was not looked at: no time for the decoder.
    stood: Duration,
    /// The decoder's time of the last bytes, and when they were taken in.
    last_bytes: Option<(Moment, Duration)>,
}

impl Clocks {
    pub(super) fn new(clock: Box<dyn Clock>) -> Self {
        let now = (clock.wall(), clock.steady());
        let slept = clock.slept();
        Clocks { clock, began: now, compared: now, slept, rests: now.1, stood: Duration::ZERO, last_bytes: None }
    }

    /// What people read.
    pub(super) fn wall(&self) -> Moment {
        self.clock.wall()
    }

    /// What ages and waits are measured by.
    pub(super) fn steady(&self) -> Duration {
        self.clock.steady()
    }

    /// By how many milliseconds the wall clock has jumped since this was last asked.
    pub(super) fn jumped_ms(&mut self) -> Option<i64> {
        let now = (self.clock.wall(), self.clock.steady());
        let by_us = beyond(std::mem::replace(&mut self.compared, now), now);
        (by_us.unsigned_abs() > STEP.as_micros() as u64).then_some(by_us / 1000)
    }

    /// For how many seconds the machine has slept since this was last asked.
    pub(super) fn slept_s(&mut self) -> Option<u64> {
        let slept = self.clock.slept();
        let since = slept.saturating_sub(std::mem::replace(&mut self.slept, slept));
        (since >= SLEEP).then_some(since.as_secs())
    }

    /// The loop rests from now on.
    pub(super) fn rest(&mut self) {
        self.rests = self.clock.steady();
    }

    /// The port was not looked at for so long: no time for the decoder.
    pub(super) fn stood_still(&mut self, time: Duration) {
        self.stood += time;
    }

    /// The decoder's time.
    pub(super) fn even_now(&self) -> Moment {
        self.even(self.clock.wall())
    }

    /// The decoder's time of bytes that arrived then, and are taken in now. It never runs back.
    pub(super) fn bytes_arrived(&mut self, at: Moment) -> Moment {
        let even = self.even(at);
        let even = self.last_bytes.map_or(even, |(last, _)| even.max(last));
        self.last_bytes = Some((even, self.alive()));
        even
    }

    /// The decoder's time until which nothing has come behind the last bytes; none before any have come, or while it is not
    /// sure.
    pub(super) fn silent_until(&self) -> Option<Moment> {
        let (last, taken) = self.last_bytes?;
        if self.clock.steady().saturating_sub(self.rests) >= RESTED_LONG {
            return None;
        }
        let silent = self.alive().saturating_sub(taken).as_micros() as i64;
        Some(Moment::from_us(last.us() + silent))
    }

    /// Jumps of the wall clock since the start are taken out, and what the program stood still.
    fn even(&self, at: Moment) -> Moment {
        let jumped = beyond(self.began, (self.clock.wall(), self.clock.steady()));
        Moment::from_us(at.us() - jumped - self.stood.as_micros() as i64)
    }

    /// The steady time without what the program stood still.
    fn alive(&self) -> Duration {
        self.clock.steady().saturating_sub(self.stood)
    }
}

/// By how many microseconds the wall clock went further than the steady one.
fn beyond(then: (Moment, Duration), now: (Moment, Duration)) -> i64 {
    let passed = now.1.saturating_sub(then.1).as_micros() as i64;
    now.0.us() - then.0.us() - passed
}
