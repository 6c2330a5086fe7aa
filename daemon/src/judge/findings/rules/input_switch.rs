//! Input switches and pads step by usual amounts, and move gain and clip point against each other.

use super::{
    Evidence,
    gain::{Opposed, opposed},
};

/// Steps of input switches and pads (common practice, no source), in dB.
const STEPS_DB: [f64; 5] = [10.0, 12.0, 15.0, 20.0, 30.0];
/// Real switches keep their step within this, in dB.
const TOLERANCE_DB: f64 = 0.7;

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let Opposed { gain_db, clip } = opposed(evidence.link)?;
    let is_step = |step_db: &f64| (gain_db.abs() - step_db).abs() <= TOLERANCE_DB;
    let step_db = STEPS_DB.into_iter().find(is_step)?;
    let now = if gain_db > 0.0 { "more" } else { "less" };
    Some(format!(
        "Gain and clip point have moved against each other ({gain_db:+.1} dB and {clip}), \
         {step_db:.0} dB {now} sensitive, a usual step of an input switch or pad: put the \
         transmitter's input switch back; where it stands right, its gain control was turned by as \
         much."
    ))
}

#[cfg(test)]
mod tests {
    use crate::judge::{
        findings::scene::{ids, level, seen},
        tests::figure,
    };

    #[test]
    fn a_clip_point_that_went_out_of_reach_has_moved_too() {
        let now = vec![
            figure("gain", -10.0, 0.05),
            figure("unclipped_to", 0.0, 0.0),
        ];
        let seen = seen("lectern", "level", now).against(level(0.0, -6.0));
        assert_eq!(ids(&seen), ["input-switch"]);
    }

    #[test]
    fn ten_db_more_gain_and_a_clip_point_10_db_lower_is_the_input_switch() {
        let now = |gain_db, clip_dbfs| {
            ids(&seen("lectern", "level", level(gain_db, clip_dbfs)).against(level(0.0, -12.0)))
        };
        assert_eq!(now(10.0, -22.0), ["input-switch"]);
        assert_eq!(now(-10.0, -2.0), ["input-switch"]);
        assert_eq!(now(20.3, -32.2), ["input-switch"]);
        assert_eq!(now(7.0, -19.0), ["transmitter-gain"], "no usual step");
    }
}
