//! A baseline of another setup is not compared with.

use super::Evidence;

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    let differences = evidence.link.setup_differences();
    if differences.is_empty() {
        return None;
    }
    Some(format!(
        "The link is set up otherwise than when its baseline was made ({}): put it back, or \
         measure a new baseline.",
        differences.join(", ")
    ))
}

#[cfg(test)]
mod tests {
    use crate::judge::findings::scene::{ids, level, seen};

    #[test]
    fn a_baseline_of_another_setup_is_the_only_thing_found_against_it() {
        let mut seen = seen("lectern", "level", level(10.0, -22.0)).against(level(0.0, -12.0));
        seen.measurement
            .setup
            .insert("gain".to_owned(), "0".to_owned());
        assert_eq!(ids(&seen), ["setup-changed"]);
    }
}
