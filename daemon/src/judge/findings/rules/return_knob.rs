//! What lies behind the point that clips does not move the clip point at the send.

use super::{
    Evidence, battery_sagging,
    gain::{GAIN_STEP_DB, clip_point_is_wrong},
    receiver_output, reference_knob,
};

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let link = evidence.link;
    let gives_way = clip_point_is_wrong(link)
        || reference_knob::look(evidence).is_some()
        || receiver_output::look(evidence).is_some()
        || battery_sagging::look(evidence).is_some();
    if gives_way {
        return None;
    }
    let moved_db = link.moved("gain", GAIN_STEP_DB);
    let wrong = || link.too_high("gain").or(link.too_low("gain"));
    let clip_stayed = link.stayed("clip_point", GAIN_STEP_DB);
    let what = match (moved_db, wrong().and_then(|judgement| judgement.value)) {
        (Some(moved_db), _) if clip_stayed => {
            format!("The gain has moved by {moved_db:+.1} dB while the clip point stayed")
        }
        (Some(moved_db), _) => format!("The gain has moved by {moved_db:+.1} dB"),
        (None, Some(gain_db)) => format!("The gain of {gain_db:+.1} dB is not what it should be"),
        (None, None) => return None,
    };
    let more = if clip_stayed {
        "."
    } else {
        "; the transmitter's input fits too where the clip point has moved as well, which `level` \
         tells."
    };
    Some(format!(
        "{what}: the first suspects are the input knobs of the link's return and of the \
         reference's, then the receiver's output level{more}"
    ))
}

#[cfg(test)]
mod tests {
    use crate::judge::{
        findings::scene::{ids, level, seen},
        tests::{figure, within},
    };

    #[test]
    fn six_db_more_gain_with_the_clip_point_where_it_was_is_the_return_knob() {
        let now = |gain_db, clip_dbfs| {
            ids(&seen("lectern", "level", level(gain_db, clip_dbfs)).against(level(0.0, -12.0)))
        };
        assert_eq!(now(6.0, -12.1), ["return-knob"]);
        assert_eq!(now(0.5, -12.0), [""; 0]);
    }

    #[test]
    fn a_gain_that_breaks_its_limit_is_the_return_knob_while_the_clip_point_is_right() {
        let limits = [within("gain", -2.0, 2.0)];
        let judged = |gain_db| ids(&seen("lectern", "", level(gain_db, -6.0)).judged(&limits));
        assert_eq!(judged(14.0), ["return-knob"]);
        assert_eq!(judged(-14.0), ["return-knob"]);
        assert_eq!(judged(1.0), [""; 0]);
    }

    #[test]
    fn a_gain_that_moved_within_its_uncertainty_is_no_finding() {
        let unsure = seen("lectern", "level", vec![figure("gain", 1.5, 0.5)]);
        let seen = unsure.against(vec![figure("gain", 0.0, 0.1)]);
        assert_eq!(ids(&seen), [""; 0]);
    }
}
