//! The analyses say whose return was silent.

use super::{Evidence, silence::is_reference_silent};

pub(super) fn look(evidence: &Evidence<'_>) -> Option<String> {
    is_reference_silent(evidence.link).then(|| {
        "Nothing of the test sound came back through the reference, so the link could not be \
         compared: look whether the reference's cable is plugged at both ends where the \
         configuration says."
            .to_owned()
    })
}

#[cfg(test)]
mod tests {
    use crate::judge::findings::scene::{ids, reference_silent, silent};

    #[test]
    fn a_silent_reference_is_not_blamed_on_the_link() {
        assert_eq!(ids(&reference_silent("lectern")), ["reference-silent"]);
        assert_eq!(ids(&silent("lectern")), ["nothing-at-the-return"]);
    }
}
