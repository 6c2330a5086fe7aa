//! Transmitters that are measured in their charger share it: `dock` in `[link.setup]` names it.
//! Where none of a dock's links gives a signal while links elsewhere do, the dock is the cause.

use super::{Evidence, all_silent, silence::is_silent};
use crate::judge::findings::evidence::Link;

/// The key of the setup.
const DOCK: &str = "dock";

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let dock = evidence.link.setup(DOCK)?;
    let of_dock: Vec<&Link<'_>> = evidence
        .everyone()
        .filter(|link| link.setup(DOCK) == Some(dock))
        .collect();
    let gives_way = all_silent::look(evidence).is_some();
    if gives_way || !of_dock.iter().all(|link| is_silent(link)) {
        return None;
    }
    Some(match of_dock.len() {
        1 => format!(
            "Nothing of the test sound came back, and the link is alone in its dock ({dock}): look \
             whether the transmitter is in the dock and its contacts are clean, whether the dock \
             has mains, and then for an empty battery; a fresh battery outside the dock tells \
             which."
        ),
        count => format!(
            "None of the {count} links of the dock {dock} gave a signal: look whether the \
             transmitters were put into it and whether it has mains, before looking for {count} \
             flat batteries."
        ),
    })
}

#[cfg(test)]
mod tests {
    use crate::judge::findings::scene::{level, run_ids, seen, silent};

    #[test]
    fn two_silent_links_of_one_dock_were_not_docked_while_a_third_link_works() {
        let docked = |link: &str| silent(link).set("dock", "stage-left");
        let works = seen("choir", "level", level(0.0, -6.0)).set("dock", "stage-right");
        let run = [docked("lectern"), docked("drum-riser"), works];
        assert_eq!(
            run_ids(&run),
            ["lectern not-docked", "drum-riser not-docked"]
        );
    }

    #[test]
    fn one_silent_link_beside_a_working_one_of_its_dock_has_a_cause_of_its_own() {
        let works = seen("choir", "level", level(0.0, -6.0)).set("dock", "stage-left");
        let run = [silent("lectern").set("dock", "stage-left"), works];
        assert_eq!(run_ids(&run), ["lectern nothing-at-the-return"]);
    }
}
