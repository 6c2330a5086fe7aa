//! A cable has no distortion of its own.

use super::{Evidence, link_distorts::distortion};

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let (link_percent, reference_percent) = distortion(evidence)?;
    reference_percent.filter(|reference_percent| *reference_percent >= link_percent)?;
    let text = "The cable beside the link shows as much distortion as the link: it comes from the \
                interface, so lower the level or the input knobs before blaming the link.";
    Some(text.to_owned())
}

#[cfg(test)]
mod tests {
    use crate::judge::findings::{rules::link_distorts::tests::pair, scene::ids};

    #[test]
    fn distortion_that_the_cable_shows_too_is_the_interfaces() {
        assert_eq!(ids(&pair(1.0, 1.1)), ["reference-distorts"]);
        assert_eq!(ids(&pair(0.1, 0.2)), [""; 0], "the limit is kept");
    }
}
