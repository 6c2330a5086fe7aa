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
const EVENTS: [&str; 3] = ["gap", "concealed", "click"];
/// Those among them that are pieces of a dropout.
pub(super) const LOST: [&str; 2] = ["gap", "concealed"];
/// The event of a delay that stepped while it was measured.
const SHIFT: &str = "shift";

/// What the latency did, where the link finds its time anew while it runs.
pub(super) fn unsteady(link: &Link<'_>) -> Option<String> {
    let jitters = link.figures("jitter").filter_map(Interval::of);
    let mut far = jitters.filter(|one| one.against(None, Some(JITTER_MS)) == Standing::Outside);
    match (far.next(), link.event(SHIFT)) {
        (Some(jitter), _) => Some(format!("differs by {:.2} ms between repeats", jitter.value)),
        (None, Some(_)) => Some("stepped while it was measured".to_owned()),
        (None, None) => None,
    }
}

/// True where something else than the stimulus was heard, or the stimulus was missing for a time.
pub(super) fn is_broken(link: &Link<'_>) -> bool {
    NOTES.iter().any(|id| link.note(id).is_some())
        || EVENTS.iter().any(|id| link.event(id).is_some())
}

/// True for either.
pub(super) fn is_disturbed(link: &Link<'_>) -> bool {
    unsteady(link).is_some() || is_broken(link)
}
