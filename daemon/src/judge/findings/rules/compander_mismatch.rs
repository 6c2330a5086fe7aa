//! `response` at several levels tells expansion that does not undo the compression.

use super::Evidence;

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    evidence.link.note("compander-mismatch")?;
    let text = "The gain follows the level as with a compressor and an expander that do not undo \
                each other: set transmitter and receiver to the same compander, and look whether \
                both are of one make; where they are, the level between them is off, which the \
                maker aligns.";
    Some(text.to_owned())
}

#[cfg(test)]
mod tests {
    use crate::judge::findings::scene::{ids, seen};

    #[test]
    fn the_note_of_response_is_the_finding() {
        let seen = |note| seen("lectern", "response", Vec::new()).noted(note, "");
        assert_eq!(ids(&seen("compander-mismatch")), ["compander-mismatch"]);
        assert_eq!(ids(&seen("compression")), [""; 0]);
    }
}
