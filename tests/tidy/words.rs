//! What no file here says.

use super::files;

/// Fails where a file has one of `words`, which are put together here so that this file has none.
fn nowhere(words: &[&[&str]], why: &str) {
    let mut wrong = Vec::new();
    for source in files::all() {
        for (index, line) in source.text.lines().enumerate() {
            for word in words.iter().map(|parts| parts.concat()) {
                if line.contains(&word) {
                    wrong.push(format!("{}:{}: {word}", source.path, index + 1));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{why}:\n{}", wrong.join("\n"));
}

#[test]
fn no_file_refers_to_what_is_not_in_the_repository() {
    let words: &[&[&str]] = &[
        &["/work", "/shared"],
        &["../", "shared/"],
        &["/work", "/wt"],
        &["/work", "/main"],
        &["seed ", "document"],
        &["contract", ".md"],
        &["house-", "style.md"],
        &["design", ".md"],
        &["traps", ".md"],
        &["values", ".md"],
    ];
    nowhere(words, "a clone of the repository has no such thing");
}

#[test]
fn no_test_is_switched_off_and_no_work_is_left_unnamed() {
    let words: &[&[&str]] = &[
        &["#[", "ignore"],
        &["to", "do!("],
        &["un", "implemented!("],
        &["FIX", "ME"],
        &["TO", "DO"],
        &["XX", "X"],
        &["pytest.mark.", "xfail"],
    ];
    nowhere(words, "finish it or take it out");
}
