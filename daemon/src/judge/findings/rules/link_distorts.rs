//! What the cable does not show is the link's own.

use super::Evidence;
use crate::judge::place;

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let (link_percent, reference_percent) = distortion(evidence)?;
    let reference_percent = reference_percent.filter(|percent| *percent < link_percent)?;
    Some(format!(
        "The link distorts ({link_percent:.2} %) and the cable beside it does not \
         ({reference_percent:.2} %): it is driven too hard, so lower the transmitter's input \
         gain; `level` tells where the link clips."
    ))
}

/// The distortion that breaks its limit, and the reference's at the same place, in %.
pub(super) fn distortion(evidence: &Evidence<'_>) -> Option<(f64, Option<f64>)> {
    let wrong = evidence.link.too_high("thd")?;
    let mut references = evidence.link.figures("reference_thd");
    let reference =
        references.find(|figure| place::same_place(figure.at.as_ref(), wrong.at.as_ref()));
    Some((wrong.value?, reference.and_then(|figure| figure.value)))
}

#[cfg(test)]
pub(super) mod tests {
    use goodwire_proto::v1::Figure;

    use crate::{
        config::LimitConfig,
        judge::{
            findings::{
                Seen,
                scene::{ids, seen},
            },
            tests::{at, figure, limit},
        },
    };

    /// Distortion of link and reference at 1 kHz, with a limit of 0.5 %.
    pub(in crate::judge::findings::rules) fn pair(link: f64, reference: f64) -> Seen {
        let tone = |id, value| Figure {
            at: at(&[("frequency_hz", 1000.0)]),
            ..figure(id, value, 0.001)
        };
        let limits = [LimitConfig {
            max: Some(0.5),
            ..limit("thd")
        }];
        let figures = vec![tone("thd", link), tone("reference_thd", reference)];
        seen("lectern", "", figures).judged(&limits)
    }

    #[test]
    fn distortion_of_1_percent_beside_a_cable_of_a_tenth_is_the_links() {
        assert_eq!(ids(&pair(1.0, 0.1)), ["link-distorts"]);
        assert_eq!(ids(&pair(0.4, 0.1)), [""; 0], "the limit is kept");
    }
}
