//! Digital links have a mode with a lower rate; a low-pass leaves the rest as it was.

use super::Evidence;

/// A corner that moved by less than this part is left to its limits.
const CORNER_PART: f64 = 0.1;

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let link = evidence.link;
    let corner_hz = link.value("corner_high")?;
    let before_hz = corner_hz
        - link
            .change("corner_high")
            .map_or(0.0, |change| change.value);
    let moved_hz = link.moved("corner_high", CORNER_PART * before_hz);
    if !moved_hz.is_some_and(|hz| hz < 0.0) && link.too_low("corner_high").is_none() {
        return None;
    }
    Some(format!(
        "The high end is lost above {corner_hz:.0} Hz: look whether the link has fallen back to a \
         mode for speech or long range, and whether a high cut is switched in."
    ))
}

#[cfg(test)]
mod tests {
    use crate::{
        config::LimitConfig,
        judge::{
            findings::scene::{ids, seen},
            tests::{figure, limit},
        },
    };

    #[test]
    fn a_high_corner_that_came_down_or_breaks_its_limit_is_a_lost_high_end() {
        let corner = |hz| vec![figure("corner_high", hz, 20.0)];
        let limits = [LimitConfig {
            min: Some(15_000.0),
            ..limit("corner_high")
        }];
        let judged = seen("lectern", "", corner(7_000.0)).judged(&limits);
        assert_eq!(ids(&judged), ["high-end-lost"]);
        let now = |hz| ids(&seen("lectern", "response", corner(hz)).against(corner(20_000.0)));
        assert_eq!(now(16_000.0), ["high-end-lost"]);
        assert_eq!(now(19_000.0), [""; 0], "5 %");
        assert_eq!(now(24_000.0), [""; 0], "better");
    }
}
