//! The reference's gain divides every link's: where all links have moved by as much, it has moved.

use super::{
    Evidence,
    gain::{GAIN_STEP_DB, clip_point_is_wrong},
};
use crate::judge::findings::evidence::Link;

/// Links that have moved together differ by less than this, in dB.
const ALIKE_DB: f64 = 0.5;

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let moved_db = evidence.link.moved("gain", GAIN_STEP_DB)?;
    let others: Vec<&Link<'_>> = evidence
        .others
        .iter()
        .copied()
        .filter(|other| other.change("gain").is_some())
        .collect();
    let is_alike = |link: &&Link<'_>| {
        let change = link.change("gain");
        change.is_some_and(|change| (change.value - moved_db).abs() <= ALIKE_DB)
            && !clip_point_is_wrong(link)
    };
    let is_own = !is_alike(&evidence.link);
    if is_own || others.is_empty() || !others.iter().all(is_alike) {
        return None;
    }
    let count = others.len() + 1;
    Some(format!(
        "The gain of all {count} links has moved by {moved_db:+.1} dB alike: the first suspects are \
         the input knob of the reference's return and the reference's cable, not the links."
    ))
}

#[cfg(test)]
mod tests {
    use crate::judge::findings::{
        Seen,
        scene::{level, run_ids, seen},
    };

    fn moved(link: &str, gain_db: f64) -> Seen {
        seen(link, "level", level(gain_db, -12.0)).against(level(0.0, -12.0))
    }

    #[test]
    fn two_links_6_db_down_alike_are_the_references_knob() {
        let run = [moved("lectern", -6.0), moved("drum-riser", -6.1)];
        assert_eq!(
            run_ids(&run),
            ["lectern reference-knob", "drum-riser reference-knob"]
        );
    }

    #[test]
    fn one_link_6_db_down_beside_one_that_stayed_is_its_own_knob() {
        let run = [moved("lectern", -6.0), moved("drum-riser", 0.1)];
        assert_eq!(run_ids(&run), ["lectern return-knob"]);
    }
}
