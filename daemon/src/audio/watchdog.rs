//! Notices that a device brings no frames though it says nothing (some never say).

use std::{
    sync::atomic::{AtomicU64, Ordering},
    time::{Duration, Instant},
};

use super::shared::Shared;

/// Watches both sides' frame counts.
#[derive(Debug)]
pub struct Watchdog {
    limit: Duration,
    played: Option<Sight>,
    heard: Option<Sight>,
}

#[derive(Debug, Clone, Copy)]
struct Sight {
    frame: u64,
    since: Instant,
}

impl Watchdog {
    /// Patience of four periods, and at least 250 ms.
    #[must_use]
    pub fn new(period_frames: usize, rate_hz: u32) -> Self {
        let periods_s = 4.0 * period_frames as f64 / f64::from(rate_hz);
        let limit = Duration::from_secs_f64(periods_s).max(Duration::from_millis(250));
        Self {
            limit,
            played: None,
            heard: None,
        }
    }

    /// Looks at the counts; gives the ms without frames once that is too long.
    pub fn look(&mut self, shared: &Shared, now: Instant) -> Option<u64> {
        let played = silent_for(&mut self.played, &shared.played_frame, now);
        let heard = silent_for(&mut self.heard, &shared.heard_frame, now);
        let silent = played.max(heard);
        (silent >= self.limit).then_some(silent.as_millis() as u64)
    }
}

fn silent_for(sight: &mut Option<Sight>, count: &AtomicU64, now: Instant) -> Duration {
    let frame = count.load(Ordering::Acquire);
    match *sight {
        Some(before) if before.frame == frame => now.saturating_duration_since(before.since),
        _ => {
            *sight = Some(Sight { frame, since: now });
            Duration::ZERO
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_still_side_is_told_after_250_ms_and_not_before() {
        let shared = Shared::new(1);
        let mut watchdog = Watchdog::new(256, 48_000);
        let start = Instant::now();
        assert_eq!(watchdog.look(&shared, start), None);
        for ms in (0..1000).step_by(10) {
            shared.played_frame.fetch_add(480, Ordering::AcqRel);
            let seen = watchdog.look(&shared, start + Duration::from_millis(ms));
            assert_eq!(
                seen,
                (ms >= 250).then_some(ms),
                "the heard side stands still"
            );
        }
    }

    #[test]
    fn long_periods_get_four_of_them() {
        let shared = Shared::new(1);
        let mut watchdog = Watchdog::new(8192, 48_000);
        let start = Instant::now();
        assert_eq!(watchdog.look(&shared, start), None);
        // Four periods are 682.7 ms.
        assert_eq!(
            watchdog.look(&shared, start + Duration::from_millis(682)),
            None
        );
        assert_eq!(
            watchdog.look(&shared, start + Duration::from_millis(683)),
            Some(683)
        );
    }
}
