//! The analyses end with `no-signal` or `unrelated` where nothing of the stimulus came back.

use super::{Evidence, all_silent, not_docked, silence::is_silent};

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let is_shared = all_silent::look(evidence).is_some() || not_docked::look(evidence).is_some();
    if is_shared || !is_silent(evidence.link) {
        return None;
    }
    let text = "Nothing of the test sound came back: look whether transmitter and receiver have \
                power and the battery is not flat, whether they are on one channel, whether one of \
                them is muted, and whether the cables from the send and to the return are plugged \
                where the configuration says; the receiver's signal lamp tells radio from cables.";
    Some(text.to_owned())
}

#[cfg(test)]
mod tests {
    use crate::judge::findings::scene::{failed, ids, silent};

    #[test]
    fn silence_or_noise_at_the_return_is_found_by_its_reason_alone() {
        assert_eq!(ids(&silent("lectern")), ["nothing-at-the-return"]);
        let text = "nothing in the link's return resembles the stimulus";
        let noise = failed("lectern", "unrelated", text);
        assert_eq!(ids(&noise), ["nothing-at-the-return"]);
        assert_eq!(ids(&failed("lectern", "hold", "")), [""; 0]);
    }
}
