//! Sentences about names that do not exist.

use crate::config::nearest;

/// A sentence that says that a name is unknown and what would be right.
#[must_use]
pub fn unknown(what: &str, given: &str, names: &[&str]) -> String {
    match (nearest(given, names.iter().copied()), names) {
        (Some(near), _) => format!("there is no {what} '{given}'; did you mean '{near}'?"),
        (None, []) => format!("there is no {what} '{given}', nor any other"),
        (None, _) => format!(
            "there is no {what} '{given}'; there are: {}",
            names.join(", ")
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_finger_names_what_was_meant() {
        let text = unknown("link", "lectren", &["lectern", "foyer"]);
        assert_eq!(text, "there is no link 'lectren'; did you mean 'lectern'?");
    }

    #[test]
    fn another_word_lists_all_names() {
        let text = unknown("link", "nobody", &["lectern", "foyer"]);
        assert_eq!(text, "there is no link 'nobody'; there are: lectern, foyer");
    }
}
