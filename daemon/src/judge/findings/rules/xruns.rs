//! The interface counts its xruns. One in a night is repaired by a retry and nobody's concern.

use super::Evidence;

/// So many in one measurement are a machine that does not keep up.
const XRUNS_MIN: i32 = 3;
/// The reason of a measurement that retries could not save.
const LOST: &str = "frames-lost";

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let link = evidence.link;
    let made = || {
        link.measurements()
            .filter_map(|one| one.provenance.as_ref())
    };
    let mut reasons = link.measurements().filter_map(|one| one.reason.as_ref());
    let is_lost = reasons.any(|reason| reason.id == LOST);
    if !is_lost && !made().any(|made| made.xrun_count >= XRUNS_MIN) {
        return None;
    }
    let text = "The interface lost sound again and again within one measurement, which is the \
                machine's doing and not the link's: make its period longer, and look what else \
                keeps the machine busy.";
    Some(text.to_owned())
}

#[cfg(test)]
mod tests {
    use goodwire_proto::v1::Provenance;

    use crate::judge::findings::scene::{failed, ids, level, seen};

    #[test]
    fn three_xruns_in_a_measurement_are_found_and_two_are_not() {
        let mut seen = seen("lectern", "level", level(0.0, -12.0));
        let mut with = |xrun_count| {
            seen.measurement.provenance = Some(Provenance {
                xrun_count,
                ..Provenance::default()
            });
            ids(&seen)
        };
        assert_eq!(with(3), ["xruns"]);
        assert_eq!(with(2), [""; 0]);
    }

    #[test]
    fn a_measurement_that_retries_could_not_save_is_found() {
        assert_eq!(ids(&failed("lectern", "frames-lost", "")), ["xruns"]);
    }
}
