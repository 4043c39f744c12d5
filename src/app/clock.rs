//! The two clocks there are: the host's, and one that moves only when told.

use crate::service::ports::Clock;
use jiff::Timestamp;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Duration;

/// The host's clock: the only place that asks for the time of day.
pub struct HostClock;

impl Clock for HostClock {
    #[allow(clippy::disallowed_methods)]
    fn now(&self) -> Timestamp {
        Timestamp::now()
    }

    fn since_boot(&self) -> Option<Duration> {
        let at = rustix::time::clock_gettime(rustix::time::ClockId::Boottime);
        Some(Duration::new(u64::try_from(at.tv_sec).ok()?, u32::try_from(at.tv_nsec).ok()?))
    }
}

/// A clock that stands still until it is set.
pub struct SetClock(AtomicI64);

impl SetClock {
    /// Starts at an instant.
    pub fn at(instant: Timestamp) -> SetClock {
        SetClock(AtomicI64::new(instant.as_millisecond()))
    }

    /// Moves on to an instant; never back.
    pub fn advance_to(&self, instant: Timestamp) {
        self.0.fetch_max(instant.as_millisecond(), Ordering::SeqCst);
    }
}

impl Clock for SetClock {
    fn now(&self) -> Timestamp {
        Timestamp::from_millisecond(self.0.load(Ordering::SeqCst)).unwrap_or(Timestamp::MAX)
    }
}
