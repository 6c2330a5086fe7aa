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

/// Runs `close` on a thread of its own and waits for it, but not for ever.
pub fn within_limit(device: &str, close: impl FnOnce() + Send + 'static) {
    let (closed, wait_for) = mpsc::channel();
    let spawned = thread::Builder::new()
        .name(format!("close-{device}"))
        .spawn(move || {
            close();
            // Nobody may be waiting any longer.
            let _ = closed.send(());
        });
    if spawned.is_ok() && wait_for.recv_timeout(CLOSING_LIMIT).is_err() {
        tracing::warn!(device, "did not close in time and is left to itself");
    }
}
