//! Names of measurements and runs: `measurements/{UUIDv7}`, so that newer ones sort after older ones.

use std::{
    sync::{Mutex, PoisonError},
    time::{Duration, SystemTime},
};

use uuid::{ContextV7, Timestamp, Uuid};

use crate::clock::Clock;

/// Keeps names rising within one millisecond, and when the clock is set back.
static CONTEXT: Mutex<ContextV7> = Mutex::new(ContextV7::new());

/// Gives a new name, `measurements/{id}`, greater than every name given by this process before.
#[must_use]
pub fn new_name(clock: &dyn Clock) -> String {
    format!("measurements/{}", new_id(clock))
}

/// Gives a new name, `runs/{id}`, greater than every name given by this process before.
#[must_use]
pub fn new_run_name(clock: &dyn Clock) -> String {
    format!("runs/{}", new_id(clock))
}

fn new_id(clock: &dyn Clock) -> uuid::fmt::Hyphenated {
    // A clock before 1970 is as good as one at 1970: the names still rise.
    let since: Duration = clock
        .now()
        .duration_since(SystemTime::UNIX_EPOCH)
        .unwrap_or_default();
    let context = CONTEXT.lock().unwrap_or_else(PoisonError::into_inner);
    let time = Timestamp::from_unix(&*context, since.as_secs(), since.subsec_nanos());
    Uuid::new_v7(time).hyphenated()
}

/// The id in `measurements/{id}` or in the bare id.
pub(super) fn id_of(name: &str) -> &str {
    name.strip_prefix("measurements/").unwrap_or(name)
}

/// The link's own name in `links/{link}` or in the bare name.
pub(super) fn link_of(name: &str) -> &str {
    name.strip_prefix("links/").unwrap_or(name)
}
