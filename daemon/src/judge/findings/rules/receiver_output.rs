//! A pad behind the receiver takes signal and noise down alike, and leaves the clip point at the
//! send where it was.

use super::{
    Evidence, battery_sagging,
    gain::{GAIN_STEP_DB, clip_point_is_wrong},
    reference_knob,
};

/// Noise that moved with the gain differs from it by less than this, in dB.
const ALIKE_DB: f64 = 1.5;

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let link = evidence.link;
    let gain_db = link.moved("gain", GAIN_STEP_DB).filter(|db| *db < 0.0)?;
    let noise_db = link.moved("noise_a", GAIN_STEP_DB)?;
    let moved_alike = (gain_db - noise_db).abs() <= ALIKE_DB;
    let gives_way =
        reference_knob::look(evidence).is_some() || battery_sagging::look(evidence).is_some();
    if !moved_alike || clip_point_is_wrong(link) || gives_way {
        return None;
    }
    Some(format!(
        "Gain and noise have come down alike ({gain_db:+.1} dB and {noise_db:+.1} dB) and the link \
         clips where it did: the receiver's output was turned down or padded, or else the knob of \
         its return was; a plain cable in the link's place tells which, for it reads as low where \
         it is the knob."
    ))
}

#[cfg(test)]
mod tests {
    use crate::judge::{
        findings::{
            Seen,
            scene::{ids, level, run_ids, seen},
        },
        tests::figure,
    };

    fn noise(dbfs: f64) -> Seen {
        let noise = |dbfs| vec![figure("noise_a", dbfs, 0.1)];
        seen("lectern", "noise", noise(dbfs)).against(noise(-90.0))
    }

    fn gain(gain_db: f64, clip_dbfs: f64) -> Seen {
        seen("lectern", "level", level(gain_db, clip_dbfs)).against(level(0.0, -6.0))
    }

    #[test]
    fn gain_and_noise_12_db_down_with_the_clip_point_where_it_was_are_the_receivers_output() {
        let run = [gain(-12.0, -6.0), noise(-102.1)];
        assert_eq!(run_ids(&run), ["lectern receiver-output"]);
    }

    #[test]
    fn without_the_noise_or_with_noise_that_stayed_it_is_not_told() {
        assert_eq!(ids(&gain(-12.0, -6.0)), ["return-knob"]);
        assert_eq!(
            run_ids(&[gain(-12.0, -6.0), noise(-90.1)]),
            ["lectern return-knob"]
        );
        assert_eq!(
            run_ids(&[gain(-12.0, 6.0), noise(-102.0)]),
            ["lectern input-switch"]
        );
    }
}
