//! What holds for all texts.

use proptest::prelude::*;

use super::*;

/// The pieces that configurations are made of, so that random texts get far into the reader.
const PIECES: [&str; 36] = [
    "site",
    "interface",
    "backend",
    "rate",
    "link",
    "limit",
    "name",
    "send",
    "return",
    "at",
    "simulated",
    "setup",
    "polynomial",
    "= ",
    "= {",
    "}",
    "[",
    "]",
    "[[",
    "]]",
    ".",
    ",",
    "\n",
    "\"",
    "\"jack\"",
    "\"simulated\"",
    "\"alsa\"",
    "1",
    "-inf",
    "nan",
    "9223372036854775808",
    "true",
    "é",
    "\t",
    "#",
    "1979-05-27",
];

proptest! {
    #[test]
    fn random_text_never_panics(text in "\\PC*") {
        let _ = Config::parse(&text, "x.toml", &[]).map_err(|error| error.to_string());
    }

    #[test]
    fn random_bytes_made_text_never_panic(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
        let text = String::from_utf8_lossy(&bytes);
        let _ = Config::parse(&text, "x.toml", &[]).map_err(|error| error.to_string());
    }

    #[test]
    fn pieces_of_configurations_in_any_order_never_panic(
        pieces in proptest::collection::vec(proptest::sample::select(&PIECES[..]), 0..60)
    ) {
        let text = pieces.concat();
        let _ = Config::parse(&text, "x.toml", &[]).map_err(|error| error.to_string());
    }

    #[test]
    fn one_changed_character_is_right_or_told_within_the_file(
        at in 0..400usize, new in any::<char>()
    ) {
        let text = simulated("[reference]\nsend = 2\nreturn = 2\n")
            + &link("lectern", 1, 1, "pad_db = 40\n[link.setup]\ngain = \"-10\"");
        let changed: String = text
            .chars()
            .enumerate()
            .map(|(index, old)| if index == at % text.len() { new } else { old })
            .collect();
        if let Err(ConfigErrors::Mistakes { mistakes, .. }) = Config::parse(&changed, "x.toml", &[]) {
            prop_assert!(!mistakes.is_empty());
            for mistake in mistakes {
                prop_assert!(mistake.line <= changed.lines().count() + 1);
                prop_assert!(!mistake.wrong.is_empty() && !mistake.right.is_empty());
            }
        }
    }
}
