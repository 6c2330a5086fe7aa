//! Levels that fall night after night are a supply that gives way: knobs and switches do not creep.

use super::Evidence;

/// So many measurements in a row have to fall, each below the one before.
const NIGHTS: usize = 4;
/// A fall from one night to the next that is less may be scatter, in dB.
const NIGHT_DB: f64 = 0.3;
/// A fall in all that is less is left to the limits, in dB.
const FALL_DB: f64 = 1.5;

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let told = ["gain", "clip_point"].into_iter().find_map(|id| {
        let fall_db = fall(&evidence.link.series(id))?;
        Some((id.replace('_', " "), fall_db))
    });
    let (figure, fall_db) = told?;
    Some(format!(
        "The {figure} has fallen by {fall_db:.1} dB over the last {NIGHTS} measurements, a little \
         each time: change or charge the battery; where it goes on with a fresh one, a supply or \
         an input stage of the link is failing."
    ))
}

/// By how much the last ones have fallen in all, where each is below the one before.
fn fall(series: &[f64]) -> Option<f64> {
    let last = &series[series.len().checked_sub(NIGHTS)?..];
    let falls = last.windows(2).all(|pair| pair[0] - pair[1] >= NIGHT_DB);
    let fall_db = last[0] - last[NIGHTS - 1];
    (falls && fall_db >= FALL_DB).then_some(fall_db)
}

#[cfg(test)]
mod tests {
    use goodwire_proto::v1::Measurement;

    use crate::judge::findings::{
        Seen,
        scene::{ids, level, seen},
    };

    fn nights(gains_db: &[f64]) -> Seen {
        let mut nights = gains_db.iter().rev().map(|gain_db| {
            let one: Measurement = seen("lectern", "level", level(*gain_db, -6.0)).measurement;
            one
        });
        let today = nights.next().unwrap();
        Seen {
            measurement: today,
            history: nights.collect(),
            baseline: None,
        }
    }

    #[test]
    fn a_gain_that_falls_on_four_nights_in_a_row_is_a_battery() {
        assert_eq!(
            ids(&nights(&[0.0, 0.1, -0.5, -1.2, -2.0])),
            ["battery-sagging"]
        );
    }

    #[test]
    fn a_gain_that_fell_once_or_came_back_between_is_none() {
        assert_eq!(ids(&nights(&[0.0, 0.0, 0.0, -2.0])), [""; 0]);
        assert_eq!(ids(&nights(&[0.0, -1.0, -0.8, -2.0])), [""; 0]);
        assert_eq!(ids(&nights(&[0.0, -1.0, -2.0])), [""; 0], "three nights");
    }

    #[test]
    fn a_gain_that_falls_from_its_baseline_is_the_battery_and_no_knob() {
        let seen = nights(&[0.0, -0.6, -1.2, -1.9]).against(level(0.0, -6.0));
        assert_eq!(ids(&seen), ["battery-sagging"]);
    }
}
