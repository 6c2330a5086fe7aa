//! The wall clock, injected so that tests can set it. Time inside the daemon is a frame position;
//! the wall clock is for the `*_time` fields of the API alone.

use std::{
    fmt,
    sync::{Arc, Mutex, PoisonError},
    time::{Duration, SystemTime},
};

use prost_types::Timestamp;
use rustix::time::{ClockId, clock_gettime};

/// Tells the time of day.
pub trait Clock: Send + Sync + fmt::Debug {
    /// The present time.
    fn now(&self) -> SystemTime;

    /// The present time as the API has it.
    fn timestamp(&self) -> Timestamp {
        Timestamp::from(self.now())
    }
}

/// A clock that is shared between parts of the daemon.
pub type SharedClock = Arc<dyn Clock>;

/// The machine's own clock.
#[derive(Debug, Clone, Copy, Default)]
pub struct SystemClock;

impl Clock for SystemClock {
    fn now(&self) -> SystemTime {
        SystemTime::now()
    }
}

/// Time since the machine's start, suspended or not.
#[must_use]
pub fn since_boot() -> Duration {
    of_kernel(ClockId::Boottime)
}

/// Time since the machine's start without that in which it was suspended.
#[must_use]
pub fn awake_since_boot() -> Duration {
    of_kernel(ClockId::Monotonic)
}

/// Id of the machine's start: [`since_boot`] goes on only while it stays the same. Empty where the
/// kernel does not say.
#[must_use]
pub fn boot_id() -> String {
    let id = std::fs::read_to_string("/proc/sys/kernel/random/boot_id").unwrap_or_default();
    id.trim().to_owned()
}

fn of_kernel(id: ClockId) -> Duration {
    let time = clock_gettime(id);
    // The kernel's clocks of this kind are never negative.
    Duration::new(
        time.tv_sec.unsigned_abs(),
        time.tv_nsec.unsigned_abs() as u32,
    )
}

/// A clock that stands still until it is moved, for tests.
#[derive(Debug)]
pub struct TestClock {
    now: Mutex<SystemTime>,
}

impl TestClock {
    /// Makes a clock that stands at `unix_s` seconds after the beginning of 1970.
    #[must_use]
    pub fn at(unix_s: u64) -> Self {
        Self {
            now: Mutex::new(SystemTime::UNIX_EPOCH + Duration::from_secs(unix_s)),
        }
    }

    /// Moves the clock on.
    pub fn advance(&self, by: Duration) {
        *self.now.lock().unwrap_or_else(PoisonError::into_inner) += by;
    }

    /// Moves the clock back, as a correction of the machine's clock does.
    pub fn step_back(&self, by: Duration) {
        *self.now.lock().unwrap_or_else(PoisonError::into_inner) -= by;
    }
}

impl Clock for TestClock {
    fn now(&self) -> SystemTime {
        *self.now.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_test_clock_moved_on_by_1500_ms_reads_1_5_s_more() {
        let clock = TestClock::at(1_000);
        clock.advance(Duration::from_millis(1500));
        assert_eq!(
            clock.timestamp(),
            Timestamp {
                seconds: 1001,
                nanos: 500_000_000
            }
        );
        clock.step_back(Duration::from_secs(2));
        assert_eq!(
            clock.timestamp(),
            Timestamp {
                seconds: 999,
                nanos: 500_000_000
            }
        );
    }
}
