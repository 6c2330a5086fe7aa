//! The delay of a digital link belongs to its mode.

use super::{Evidence, disturbed::unsteady, gain::GAIN_STEP_DB, link_clock, neighbours_sound};

/// A latency that moved by less than this is left to its limits, in ms.
const LATENCY_STEP_MS: f64 = 0.5;

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let link = evidence.link;
    let moved_ms = link.moved("latency", LATENCY_STEP_MS)?;
    // A latency that does not stand still has no step to tell.
    let wanders = unsteady(link).is_some() || link_clock::off_ppm(link).is_some();
    if wanders || neighbours_sound::instead(evidence).is_some() {
        return None;
    }
    let told = if link.stayed("gain", GAIN_STEP_DB) {
        "while the gain stayed: the link runs in another latency mode or with other firmware, or \
         something that delays was put into its way"
    } else {
        "in a step: the link runs in another mode, or something that delays was put into its way"
    };
    Some(format!(
        "The latency has moved by {moved_ms:+.2} ms {told}; put the mode back, or measure a new \
         baseline where the change is meant."
    ))
}

#[cfg(test)]
mod tests {
    use crate::judge::{
        findings::scene::{ids, seen},
        tests::figure,
    };

    #[test]
    fn a_latency_that_moved_by_16_ms_is_another_mode() {
        let latency = |ms| vec![figure("latency", ms, 0.001)];
        let now = |ms| ids(&seen("lectern", "latency", latency(ms)).against(latency(4.0)));
        assert_eq!(now(20.0), ["latency-moved"]);
        assert_eq!(now(4.3), [""; 0]);
    }
}
