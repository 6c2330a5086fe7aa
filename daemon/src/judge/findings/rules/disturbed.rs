//! Signs of sound that came and went within a measurement.

use crate::judge::{
    findings::evidence::Link,
    interval::{Interval, Standing},
};

/// A link whose latency stays within this between repeats does not resynchronise, in ms.
const JITTER_MS: f64 = 0.5;
/// Notes of steps and tones in which something else was heard.
const NOTES: [&str; 2] = ["disturbed-steps", "disturbed-tones"];
/// Events of lost sound.
const EVENTS: [&str; 3] = ["gap", "click", "shift"];

/// The jitter in ms, where it is that of a link that finds its time anew.
pub(super) fn jitter_ms(link: &Link<'_>) -> Option<f64> {
    let jitters = link.figures("jitter").filter_map(Interval::of);
    let mut far = jitters.filter(|one| one.against(None, Some(JITTER_MS)) == Standing::Outside);
    far.next().map(|jitter| jitter.value)
}

/// True where something else than the stimulus was heard, or the stimulus was missing for a time.
pub(super) fn is_broken(link: &Link<'_>) -> bool {
    NOTES.iter().any(|id| link.note(id).is_some())
        || EVENTS.iter().any(|id| link.event(id).is_some())
}

/// True for either.
pub(super) fn is_disturbed(link: &Link<'_>) -> bool {
    jitter_ms(link).is_some() || is_broken(link)
}
