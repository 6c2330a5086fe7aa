//! A delay that differs from repeat to repeat was set anew between them.

use super::{Evidence, disturbed::jitter_ms, interference};

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    if interference::look(evidence).is_some() {
        return None;
    }
    let jitter_ms = jitter_ms(evidence.link)?;
    Some(format!(
        "The latency differs by {jitter_ms:.2} ms between repeats: the link finds its time anew \
         while it runs; look at distance, aerials and busy radio channels."
    ))
}

#[cfg(test)]
mod tests {
    use crate::judge::{
        findings::scene::{ids, seen},
        tests::figure,
    };

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
