//! A swap anywhere in the link shows as 180° at all frequencies, and as nothing else.

use goodwire_proto::v1::Measurement;

use super::Evidence;

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let mut pairs = evidence.link.pairs();
    let swapped = |(now, baseline): (&Measurement, Option<&Measurement>)| {
        is_swapped(now) && !baseline.is_some_and(is_swapped)
    };
    pairs.any(swapped).then(|| {
        "The link turns the polarity over: look for a cable with its two signal wires swapped, and \
         for a polarity switch on transmitter, receiver or return."
            .to_owned()
    })
}

/// `level` tells the polarity as a figure.
fn is_swapped(measurement: &Measurement) -> bool {
    let mut figures = measurement.figures.iter();
    figures.any(|figure| figure.id == "polarity" && figure.value < Some(0.0))
        || measurement.notes.iter().any(|note| note.id == "inverted")
}

#[cfg(test)]
mod tests {
    use crate::judge::{
        findings::scene::{ids, seen},
        tests::figure,
    };

    #[test]
    fn a_polarity_of_minus_1_is_found_unless_the_baseline_had_it_too() {
        let polarity = |sign| vec![figure("polarity", sign, 0.0)];
        let now = || seen("lectern", "level", polarity(-1.0));
        assert_eq!(ids(&now()), ["polarity-swapped"]);
        assert_eq!(ids(&now().against(polarity(1.0))), ["polarity-swapped"]);
        assert_eq!(ids(&now().against(polarity(-1.0))), [""; 0]);
    }

    #[test]
    fn the_note_of_latency_tells_it_too() {
        let seen = seen("lectern", "latency", Vec::new()).noted("inverted", "");
        assert_eq!(ids(&seen), ["polarity-swapped"]);
    }
}
