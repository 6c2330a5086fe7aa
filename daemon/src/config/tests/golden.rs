//! What a file with more than a dozen mistakes is answered with, to the letter.

use super::*;

#[test]
fn two_dozen_mistakes_at_once_read_as_in_the_golden_file() {
    reads_as_in_the_golden_file("mistakes", include_str!("../golden/mistakes.toml"));
}

#[test]
fn mistakes_in_limits_of_curves_and_groups_read_as_in_the_golden_file() {
    reads_as_in_the_golden_file("curves", include_str!("../golden/curves.toml"));
}

#[test]
fn mistakes_in_the_ways_of_messages_read_as_in_the_golden_file() {
    reads_as_in_the_golden_file("messages", include_str!("../golden/messages.toml"));
}

fn reads_as_in_the_golden_file(name: &str, text: &str) {
    let got = Config::parse(text, &format!("{name}.toml"))
        .unwrap_err()
        .to_string()
        + "\n";
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("src/config/golden/{name}.txt"));
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        std::fs::write(&file, &got).unwrap();
    }
    let want = std::fs::read_to_string(&file).unwrap();
    assert!(got == want, "got:\n{got}\nwant:\n{want}");
}
