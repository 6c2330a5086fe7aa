//! A delay that differs from repeat to repeat was set anew between them.

use super::{Evidence, disturbed::unsteady, interference};

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    if interference::look(evidence).is_some() {
        return None;
    }
    let what = unsteady(evidence.link)?;
    Some(format!(
        "The latency {what}: the link finds its time anew while it runs; look at distance, aerials and busy radio channels."
    ))
}

#[cfg(test)]
mod tests {
    use goodwire_proto::v1::Event;

    use crate::judge::{
        findings::scene::{ids, seen},
        tests::figure,
    };

    #[test]
    fn a_delay_that_steps_within_a_sweep_resynchronises_and_is_no_other_mode() {
        let latency = |ms| vec![figure("latency", ms, 0.001)];
        let mut seen = seen("lectern", "latency", latency(6.0)).against(latency(4.0));
        seen.measurement.events.push(Event {
            id: "shift".to_owned(),
            ..Event::default()
        });
        assert_eq!(ids(&seen), ["resynchronises"]);
    }

    #[test]
    fn a_latency_that_differs_by_2_ms_between_repeats_resynchronises() {
        let jitter = |ms, sigma| {
            ids(&seen(
                "lectern",
                "latency",
                vec![figure("jitter", ms, sigma)],
            ))
        };
        assert_eq!(jitter(2.0, 0.01), ["resynchronises"]);
        assert_eq!(jitter(0.6, 0.1), [""; 0]);
    }
}
