//! More gain before the point that clips brings the clip point down by as much as the gain goes up.

use super::{
    Evidence,
    gain::{Opposed, opposed},
    input_switch,
};

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    if input_switch::look(evidence).is_some() {
        return None;
    }
    if let Some(Opposed { gain_db, clip }) = opposed(evidence.link) {
        return Some(format!(
            "Gain and clip point have moved against each other ({gain_db:+.1} dB and {clip}): \
             the transmitter's input gain or pad was changed, so put it back."
        ));
    }
    let gain_db = evidence.link.too_high("gain")?.value?;
    let clip_dbfs = evidence.link.too_low("clip_point")?.value?;
    Some(format!(
        "The gain is {gain_db:+.1} dB and the link clips already at {clip_dbfs:.1} dBFS at the \
         send: the transmitter's input gain is set too high, or its pad is out."
    ))
}

#[cfg(test)]
mod tests {
    use crate::{
        config::LimitConfig,
        judge::{
            findings::scene::{ids, level, seen},
            tests::{limit, within},
        },
    };

    #[test]
    fn six_db_more_gain_and_a_clip_point_6_db_lower_is_the_transmitters_gain() {
        let seen = seen("lectern", "level", level(6.0, -18.0)).against(level(0.0, -12.0));
        assert_eq!(ids(&seen), ["transmitter-gain"]);
    }

    #[test]
    fn too_much_gain_and_a_clip_point_too_low_are_the_transmitters_gain_without_a_baseline_too() {
        let limits = [
            within("gain", -2.0, 2.0),
            LimitConfig {
                min: Some(-12.0),
                ..limit("clip_point")
            },
        ];
        let judged =
            |gain_db, clip| ids(&seen("lectern", "", level(gain_db, clip)).judged(&limits));
        assert_eq!(judged(14.0, -24.0), ["transmitter-gain"]);
        assert_eq!(judged(14.0, -6.0), ["return-knob"]);
        assert_eq!(judged(0.0, -24.0), ["clips-early"]);
    }
}
