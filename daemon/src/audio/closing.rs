//! Closing a device: silence first, and never a wait without end on a driver that hangs.

use std::{
    sync::{atomic::Ordering, mpsc},
    thread,
    time::{Duration, Instant},
};

use super::shared::Shared;

/// A device that still runs fades out within this time.
const FADE_LIMIT: Duration = Duration::from_millis(100);
/// A device that does not close within this time is left to itself.
const CLOSING_LIMIT: Duration = Duration::from_secs(3);

/// Mutes, and waits until the callback has said that it is silent or can no longer say so.
pub fn fade_out(shared: &Shared) {
    if shared.gone.get().is_some() || shared.played_frame.load(Ordering::Acquire) == 0 {
        return;
    }
    let begun = Instant::now();
    shared.mute.set(true);
    while !shared.mute.is_silent() && begun.elapsed() < FADE_LIMIT {
        thread::sleep(Duration::from_millis(1));
    }
}

/// Closes a device, but does not wait for ever.
pub fn close(device: &str, close: impl FnOnce() + Send + 'static) {
    if within(CLOSING_LIMIT, "close-interface", close).is_none() {
        tracing::warn!(device, "did not close in time and is left to itself");
    }
}

/// Runs `work` on a thread of its own; `None` where it takes longer than `limit`, or where there
/// is no thread. It then goes on unheard.
pub fn within<T: Send + 'static>(
    limit: Duration,
    thread_name: &str,
    work: impl FnOnce() -> T + Send + 'static,
) -> Option<T> {
    let (done, result) = mpsc::channel();
    let run = move || {
        // Nobody may be waiting any longer.
        let _ = done.send(work());
    };
    thread::Builder::new()
        .name(thread_name.to_owned())
        .spawn(run)
        .ok()?;
    result.recv_timeout(limit).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn work_that_hangs_is_left_after_its_limit_and_quick_work_is_waited_for() {
        assert_eq!(within(Duration::from_secs(10), "quick", || 7), Some(7));
        let begun = Instant::now();
        let slow = within(Duration::from_millis(50), "slow", || {
            thread::sleep(Duration::from_secs(2));
        });
        assert_eq!(slow, None);
        assert!(begun.elapsed() < Duration::from_secs(1));
    }
}
