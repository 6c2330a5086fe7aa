//! The files of the repository, and how long they may be.

use std::{
    fs,
    path::{Path, PathBuf},
};

/// Folders that hold nothing of ours.
const NOT_OURS: [&str; 7] = [
    "target",
    ".git",
    ".venv",
    "__pycache__",
    "node_modules",
    ".pytest_cache",
    "demo-output",
];
/// Longest file, in lines. Tables and tests may be longer.
const LINE_COUNT_MAX: usize = 400;

/// One text file of the repository.
pub struct Source {
    /// Path from the repository's root, with `/`.
    pub path: String,
    /// What is in it.
    pub text: String,
}

impl Source {
    /// True for files whose name ends so.
    pub fn ends_with(&self, ending: &str) -> bool {
        self.path.ends_with(ending)
    }

    /// True for what only tests: their length is free, and they may name what they check.
    pub fn is_test(&self) -> bool {
        ["tests/", "/tests/", "/tests.rs", "/benches/"]
            .iter()
            .any(|mark| self.path.starts_with("tests/") || self.path.contains(mark))
    }

    /// The lines of code with their numbers from 1: without comments, and without the tests at
    /// the end of the file.
    pub fn code(&self) -> impl Iterator<Item = (usize, &str)> {
        self.text
            .lines()
            .enumerate()
            .take_while(|(_, line)| !line.starts_with("#[cfg(test)]"))
            .map(|(index, line)| (index + 1, line.split("//").next().unwrap_or_default()))
    }
}

/// The root of the repository.
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .expect("the tests lie in a folder of the repository")
        .to_owned()
}

/// Every text file of the repository.
pub fn all() -> Vec<Source> {
    let mut found = Vec::new();
    collect(&root(), &root(), &mut found);
    assert!(
        found.len() > 50,
        "only {} files were found in {}",
        found.len(),
        root().display()
    );
    found
}

fn collect(root: &Path, folder: &Path, found: &mut Vec<Source>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if NOT_OURS.contains(&name.as_str()) {
            continue;
        }
        if path.is_dir() {
            collect(root, &path, found);
        } else if let Ok(text) = fs::read_to_string(&path) {
            let path = path
                .strip_prefix(root)
                .unwrap()
                .to_string_lossy()
                .into_owned();
            found.push(Source { path, text });
        }
    }
}

#[test]
fn no_source_file_is_longer_than_400_lines() {
    let sources = all();
    let too_long: Vec<_> = sources
        .iter()
        .filter(|s| {
            [".rs", ".py", ".h", ".c", ".proto", ".sql"]
                .iter()
                .any(|e| s.ends_with(e))
        })
        .filter(|s| !s.is_test() && s.text.lines().count() > LINE_COUNT_MAX)
        .map(|s| format!("{}: {} lines", s.path, s.text.lines().count()))
        .collect();
    assert!(
        too_long.is_empty(),
        "longer than {LINE_COUNT_MAX} lines:\n{}",
        too_long.join("\n")
    );
}

#[test]
fn main_of_every_program_is_shorter_than_100_lines() {
    let sources = all();
    let mains: Vec<_> = sources
        .iter()
        .filter(|s| s.ends_with("src/main.rs"))
        .collect();
    assert_eq!(
        mains.len(),
        3,
        "goodwired, goodwire and goodwire-plugin-host"
    );
    for main in mains {
        let line_count = main.text.lines().count();
        assert!(line_count < 100, "{} has {line_count} lines", main.path);
    }
}

#[test]
fn markdown_has_one_sentence_a_line() {
    let mut wrong = Vec::new();
    for page in all().iter().filter(|s| s.ends_with(".md")) {
        let mut in_code = false;
        for (index, line) in page.text.lines().enumerate() {
            if line.trim_start().starts_with("```") {
                in_code = !in_code;
            }
            let is_prose = !in_code && !line.trim_start().starts_with('|');
            // A full stop, then a space, then a capital letter begins a second sentence.
            let letters: Vec<char> = line.chars().collect();
            let second = letters.windows(4).any(|w| {
                w[0].is_lowercase() && ".?!".contains(w[1]) && w[2] == ' ' && w[3].is_uppercase()
            });
            if is_prose && second {
                wrong.push(format!("{}:{}: {line}", page.path, index + 1));
            }
        }
    }
    assert!(
        wrong.is_empty(),
        "more than one sentence in a line:\n{}",
        wrong.join("\n")
    );
}
