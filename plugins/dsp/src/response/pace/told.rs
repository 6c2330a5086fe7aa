//! Steps of the delay in words.

use super::{Paces, Step};

/// A step as it is told of a measurement.
#[derive(Debug, Clone, PartialEq)]
pub struct Told {
    /// `shift` where the link's delay stepped against the reference's, `slip` where the
    /// reference's stepped: the recorder or the cable lost samples or gained some.
    pub id: &'static str,
    /// Seconds of the recording between which it lies.
    pub between_s: [f64; 2],
    /// What happened, in words.
    pub text: String,
}

impl Paces {
    /// Every step, the reference's first. What both channels did together is the recorder's and
    /// no step of the link against the reference.
    #[must_use]
    pub fn told(&self, rate_hz: f64) -> Vec<Told> {
        let reference = self.reference.as_ref().map_or(&[][..], |pace| &pace.steps);
        let slips = reference.iter().map(|step| Told {
            id: "slip",
            between_s: step.between_s,
            text: format!("the recording's {}", in_words(step, rate_hz)),
        });
        let own = |step: &&Step| !reference.iter().any(|other| is_same(step, other));
        let shifts = self.link.steps.iter().filter(own).map(|step| Told {
            id: "shift",
            between_s: step.between_s,
            text: format!("the link's {}", in_words(step, rate_hz)),
        });
        slips.chain(shifts).collect()
    }
}

fn is_same(link: &Step, reference: &Step) -> bool {
    let unsure = 4.0 * link.sigma_frames.hypot(reference.sigma_frames) + 0.25;
    (link.frames - reference.frames).abs() < unsure
        && link.between_s[0] < reference.between_s[1] + 1.0
        && reference.between_s[0] < link.between_s[1] + 1.0
}

fn in_words(step: &Step, rate_hz: f64) -> String {
    let did = if step.frames < 0.0 {
        "dropped"
    } else {
        "inserted"
    };
    format!(
        "latency stepped by {:+.4} ms, as if {:.1} samples were {did}",
        step.frames / rate_hz * 1e3,
        step.frames.abs()
    )
}
