//! The spelling of ids.

/// Most characters of an id.
const ID_CHARACTERS_MAX: usize = 64;

/// True for words of lower-case letters and digits, joined by single hyphens: `no-signal`.
pub(super) fn is_kebab_case(id: &str) -> bool {
    is_joined(id, '-')
}

/// True for words of lower-case letters and digits, joined by single underscores: `corner_low`.
pub(super) fn is_snake_case(id: &str) -> bool {
    is_joined(id, '_')
}

fn is_joined(id: &str, joint: char) -> bool {
    let is_word = |word: &str| {
        !word.is_empty()
            && word
                .chars()
                .all(|one| one.is_ascii_lowercase() || one.is_ascii_digit())
    };
    id.len() <= ID_CHARACTERS_MAX
        && id.starts_with(|first: char| first.is_ascii_lowercase())
        && id.split(joint).all(is_word)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_are_lower_case_words_with_single_joints() {
        for good in ["gain", "thd_n", "h2", "corner_low"] {
            assert!(is_snake_case(good), "{good}");
        }
        for bad in [
            "",
            "Gain",
            "thd__n",
            "_gain",
            "gain_",
            "2h",
            "no-signal",
            "gäin",
            "a b",
        ] {
            assert!(!is_snake_case(bad), "{bad}");
        }
        assert!(is_kebab_case("no-signal") && !is_kebab_case("no_signal"));
        assert!(!is_kebab_case(&"a".repeat(65)));
    }
}
