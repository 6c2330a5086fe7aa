//! A clip point that is too low without too much gain.

use super::{Evidence, battery_sagging, gain::GAIN_STEP_DB, input_switch, transmitter_gain};

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let link = evidence.link;
    let gives_way = input_switch::look(evidence).is_some()
        || transmitter_gain::look(evidence).is_some()
        || battery_sagging::look(evidence).is_some();
    let moved_db = link.moved("clip_point", GAIN_STEP_DB);
    let is_low = moved_db.is_some_and(|db| db < 0.0) || link.too_low("clip_point").is_some();
    if gives_way || !is_low {
        return None;
    }
    let clip_dbfs = link.value("clip_point")?;
    Some(format!(
        "The link clips already at {clip_dbfs:.1} dBFS at the send: lower the transmitter's input \
         gain or switch its pad in; where the batteries are low, change them. A fresh battery \
         tells which."
    ))
}

#[cfg(test)]
mod tests {
    use crate::{
        config::LimitConfig,
        judge::{
            findings::scene::{ids, level, seen},
            tests::limit,
        },
    };

    #[test]
    fn a_clip_point_below_its_limit_or_lower_than_it_was_clips_early() {
        let limits = [LimitConfig {
            min: Some(-15.0),
            ..limit("clip_point")
        }];
        let judged = seen("lectern", "", level(0.0, -20.0)).judged(&limits);
        assert_eq!(ids(&judged), ["clips-early"]);
        let now =
            |clip| ids(&seen("lectern", "level", level(0.0, clip)).against(level(0.0, -12.0)));
        assert_eq!(now(-20.0), ["clips-early"]);
        assert_eq!(now(-4.0), [""; 0], "8 dB better");
    }
}
