//! What a file with more than a dozen mistakes is answered with, to the letter.

use super::*;

#[test]
fn two_dozen_mistakes_at_once_read_as_in_the_golden_file() {
    let text = include_str!("../golden/mistakes.toml");
    let got = Config::parse(text, "mistakes.toml")
        .unwrap_err()
        .to_string()
        + "\n";
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/config/golden/mistakes.txt");
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        std::fs::write(&file, &got).unwrap();
    }
    let want = std::fs::read_to_string(&file).unwrap();
    assert!(got == want, "got:\n{got}\nwant:\n{want}");
}
