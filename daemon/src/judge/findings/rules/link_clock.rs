//! A link that carries the transmitter's clock to the receiver's output does not run off.

use super::{Evidence, disturbed::unsteady, interface_clock};
use crate::judge::{
    findings::evidence::Link,
    interval::{Interval, Standing},
};

/// A clock that is off by less is a matter of measurement, in ppm.
const STEADY_PPM: f64 = 2.0;

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    if interface_clock::look(evidence).is_some() {
        return None;
    }
    let ppm = off_ppm(evidence.link)?;
    Some(format!(
        "The link's clock runs off by {ppm:+.1} ppm, so that sooner or later it drops or doubles \
         samples: look for a digital output that is not locked to the interface, or a receiver \
         that has lost its transmitter's clock."
    ))
}

/// By how much the link runs off, where it did not do so when its baseline was made. Steps of its
/// delay pass for a clock that runs off: of a link that finds its time anew nothing is said.
pub(super) fn off_ppm(link: &Link<'_>) -> Option<f64> {
    if unsteady(link).is_some() {
        return None;
    }
    let skew = Interval::of(link.figure("skew")?)?;
    let is_off = skew.against(Some(-STEADY_PPM), Some(STEADY_PPM)) == Standing::Outside;
    let is_new = !link.stayed("skew", STEADY_PPM);
    (is_off && is_new).then_some(skew.value)
}

#[cfg(test)]
mod tests {
    use crate::judge::{
        findings::scene::{ids, seen},
        tests::figure,
    };

    #[test]
    fn a_clock_off_by_30_ppm_is_found_unless_it_was_so_on_commissioning_day() {
        let skew = |ppm| vec![figure("skew", ppm, 0.05)];
        let now = || seen("lectern", "latency", skew(30.0));
        assert_eq!(ids(&now()), ["link-clock"]);
        assert_eq!(ids(&now().against(skew(0.1))), ["link-clock"]);
        assert_eq!(ids(&now().against(skew(29.5))), [""; 0]);
        assert_eq!(ids(&seen("lectern", "latency", skew(0.5))), [""; 0]);
    }

    #[test]
    fn of_a_link_whose_delay_steps_no_clock_is_told() {
        let stepping = vec![figure("skew", 4.0, 0.1), figure("jitter", 2.0, 0.01)];
        assert_eq!(
            ids(&seen("lectern", "latency", stepping)),
            ["resynchronises"]
        );
    }
}
