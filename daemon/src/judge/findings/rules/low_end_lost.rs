//! Most transmitters have a low-cut switch.

use super::Evidence;

/// A corner that moved by less than this part is left to its limits.
const CORNER_PART: f64 = 0.1;

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let link = evidence.link;
    let corner_hz = link.value("corner_low")?;
    let before_hz = corner_hz - link.change("corner_low").map_or(0.0, |change| change.value);
    let moved_hz = link.moved("corner_low", CORNER_PART * before_hz);
    if !moved_hz.is_some_and(|hz| hz > 0.0) && link.too_high("corner_low").is_none() {
        return None;
    }
    Some(format!(
        "The low end is lost below {corner_hz:.0} Hz: look for a low-cut switch on the \
         transmitter or receiver."
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
    fn a_low_corner_that_went_up_or_breaks_its_limit_is_a_lost_low_end() {
        let corner = |hz| vec![figure("corner_low", hz, 0.5)];
        let limits = [LimitConfig {
            max: Some(60.0),
            ..limit("corner_low")
        }];
        let judged = seen("lectern", "", corner(120.0)).judged(&limits);
        assert_eq!(ids(&judged), ["low-end-lost"]);
        let now = |hz| ids(&seen("lectern", "response", corner(hz)).against(corner(20.0)));
        assert_eq!(now(80.0), ["low-end-lost"]);
        assert_eq!(now(10.0), [""; 0], "better");
    }
}
