//! Links fail one by one; what fails for all of them is what they share.

use super::{Evidence, silence::is_silent};

/// Fewer links share nothing that could be told from their own failure.
const LINKS_MIN: usize = 2;

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let count = evidence.everyone().count();
    if count < LINKS_MIN || !evidence.everyone().all(is_silent) {
        return None;
    }
    Some(format!(
        "None of the {count} links gave a signal, so look at what they share first: the mains of \
         the receivers, the multicore or patch bay to the interface, and whether the \
         transmitters were put away switched off or into a dock without mains; one link measured with a cable in its place tells wiring \
         from radio."
    ))
}

#[cfg(test)]
mod tests {
    use crate::judge::findings::scene::{level, run_ids, seen, silent};

    #[test]
    fn two_of_two_silent_links_share_a_cause_and_one_of_two_does_not() {
        let run = [silent("lectern"), silent("drum-riser")];
        assert_eq!(
            run_ids(&run),
            ["lectern all-links-silent", "drum-riser all-links-silent"]
        );
        let run = [
            silent("lectern"),
            seen("drum-riser", "level", level(0.0, -6.0)),
        ];
        assert_eq!(run_ids(&run), ["lectern nothing-at-the-return"]);
    }
}
