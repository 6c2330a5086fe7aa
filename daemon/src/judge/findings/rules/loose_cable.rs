//! Crackle on one link alone.

use super::{
    Evidence,
    disturbed::{is_broken, unsteady},
    interface_clock, interference, out_of_range, xruns,
};

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let gives_way = interference::look(evidence).is_some()
        || interface_clock::look(evidence).is_some()
        || xruns::look(evidence).is_some()
        || out_of_range::look(evidence).is_some()
        || unsteady(evidence.link).is_some();
    if gives_way || !is_broken(evidence.link) {
        return None;
    }
    let text = "Sound was lost or torn on this link alone: a loose plug or a broken wire crackles \
                like that, and so does a weak radio signal; measure again while somebody moves the \
                plugs, then with the transmitter beside the receiver: what stays there is the \
                cable.";
    Some(text.to_owned())
}

#[cfg(test)]
mod tests {
    use crate::judge::findings::scene::{ids, level, run_ids, seen};

    #[test]
    fn disturbed_steps_on_one_link_are_a_loose_cable_and_on_both_interference() {
        let ill = |link| seen(link, "level", level(0.0, -6.0)).noted("disturbed-steps", "");
        assert_eq!(ids(&ill("lectern")), ["loose-cable"]);
        let run = [ill("lectern"), ill("drum-riser")];
        assert_eq!(
            run_ids(&run),
            ["lectern interference", "drum-riser interference"]
        );
    }
}
