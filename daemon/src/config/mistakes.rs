//! Mistakes of a configuration: all of them at once, each with its place, the line, what is wrong
//! and what would be right.

use std::{cell::RefCell, fmt, ops::Range};

/// More than this many mistakes are counted, not shown: the file is then something else.
const SHOWN_MAX: usize = 50;

/// Longer lines are cut around the mistake when they are shown.
const LINE_CHARS_MAX: usize = 160;

/// Why a configuration is refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ConfigErrors {
    /// The file cannot be read.
    #[error("the configuration {file} cannot be read: {text}")]
    Unreadable {
        /// The file.
        file: String,
        /// What the system says.
        text: String,
    },
    /// The file can be read, but not used.
    #[error("{}", render(file, mistakes))]
    Mistakes {
        /// The file.
        file: String,
        /// All mistakes, in the order of the file.
        mistakes: Vec<ConfigMistake>,
    },
}

/// One mistake and its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ConfigMistake {
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// The line itself, without its end.
    pub line_text: String,
    /// How many characters of the line are meant, from 1.
    pub width: usize,
    /// What is wrong.
    pub wrong: String,
    /// What would be right. May have several lines; never empty.
    pub right: String,
}

impl fmt::Display for ConfigMistake {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (shown, caret_column) = window(&self.line_text, self.column);
        let number = self.line.to_string();
        let margin = " ".repeat(number.len());
        let room = shown
            .chars()
            .count()
            .saturating_sub(caret_column - 1)
            .max(1);
        writeln!(f, "  {number} | {shown}")?;
        let indent = indent(&shown, caret_column);
        writeln!(
            f,
            "  {margin} | {indent}{}",
            "^".repeat(self.width.clamp(1, room))
        )?;
        for (index, line) in self.right.lines().enumerate() {
            let mark = if index == 0 { "right:" } else { "      " };
            writeln!(f, "  {margin} {mark} {line}")?;
        }
        Ok(())
    }
}

/// The shown part of a line, made harmless for a terminal, and the column within it.
fn window(line: &str, column: usize) -> (String, usize) {
    let first = if column > LINE_CHARS_MAX {
        column - LINE_CHARS_MAX / 2
    } else {
        1
    };
    let harmless = |c: char| {
        if c.is_control() && c != '\t' {
            '\u{fffd}'
        } else {
            c
        }
    };
    let shown = line
        .chars()
        .skip(first - 1)
        .take(LINE_CHARS_MAX)
        .map(harmless)
        .collect();
    (shown, column - first + 1)
}

/// White space that is as wide as the line up to `column`: tabs stay tabs.
fn indent(line: &str, column: usize) -> String {
    let blank = |c| if c == '\t' { '\t' } else { ' ' };
    let mut text: String = line.chars().take(column - 1).map(blank).collect();
    text.extend(std::iter::repeat_n(
        ' ',
        (column - 1).saturating_sub(text.chars().count()),
    ));
    text
}

fn render(file: &str, mistakes: &[ConfigMistake]) -> String {
    let mut text = String::new();
    for mistake in mistakes.iter().take(SHOWN_MAX) {
        let ConfigMistake {
            line,
            column,
            wrong,
            ..
        } = mistake;
        text.push_str(&format!("{file}:{line}:{column}: {wrong}\n{mistake}\n"));
    }
    if mistakes.len() > SHOWN_MAX {
        text.push_str(&format!("and {} more\n\n", mistakes.len() - SHOWN_MAX));
    }
    let plural = if mistakes.len() == 1 {
        "mistake"
    } else {
        "mistakes"
    };
    text.push_str(&format!("{} {plural} in {file}", mistakes.len()));
    text
}

/// What kind of mistake it is: after a mistake of writing, some others cannot be told any more.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// Not TOML at all.
    Writing,
    /// Something that is there is wrong.
    Wrong,
    /// Something that is needed is not there.
    Missing,
}

#[derive(Debug)]
struct Found {
    span: Range<usize>,
    kind: Kind,
    wrong: String,
    right: String,
}

/// Collects mistakes while a file is read.
#[derive(Debug, Default)]
pub(super) struct Mistakes {
    found: RefCell<Vec<Found>>,
}

impl Mistakes {
    /// The text is no TOML at `span`.
    pub(super) fn writing(&self, span: Range<usize>, wrong: String, right: String) {
        self.add(Found {
            span,
            kind: Kind::Writing,
            wrong,
            right,
        });
    }

    /// What stands at `span` is wrong.
    pub(super) fn wrong(&self, span: Range<usize>, wrong: String, right: String) {
        self.add(Found {
            span,
            kind: Kind::Wrong,
            wrong,
            right,
        });
    }

    /// Something is missing in what stands at `span`.
    pub(super) fn missing(&self, span: Range<usize>, wrong: String, right: String) {
        self.add(Found {
            span,
            kind: Kind::Missing,
            wrong,
            right,
        });
    }

    fn add(&self, found: Found) {
        self.found.borrow_mut().push(found);
    }

    /// The mistakes with their places in `text`, in the order of the file.
    ///
    /// Where the writing itself is wrong, what only follows from that is left out: what seems to
    /// be missing, and anything else on the same line.
    pub(super) fn place(self, text: &str) -> Vec<ConfigMistake> {
        let mut found = self.found.into_inner();
        found.sort_by_key(|mistake| (mistake.span.start, mistake.kind != Kind::Writing));
        let line_of = |at: usize| text[..floor(text, at)].matches('\n').count();
        let broken: Vec<usize> = found
            .iter()
            .filter(|mistake| mistake.kind == Kind::Writing)
            .map(|mistake| line_of(mistake.span.start))
            .collect();
        found.retain(|mistake| match mistake.kind {
            Kind::Writing => true,
            Kind::Wrong => !broken.contains(&line_of(mistake.span.start)),
            Kind::Missing => broken.is_empty(),
        });
        found
            .into_iter()
            .map(|mistake| placed(text, mistake))
            .collect()
    }
}

fn placed(text: &str, found: Found) -> ConfigMistake {
    let start = floor(text, found.span.start);
    let line_start = text[..start].rfind('\n').map_or(0, |at| at + 1);
    let line_end = text[start..].find('\n').map_or(text.len(), |at| start + at);
    let end = floor(text, found.span.end).clamp(start, line_end);
    ConfigMistake {
        line: text[..start].matches('\n').count() + 1,
        column: text[line_start..start].chars().count() + 1,
        line_text: text[line_start..line_end].trim_end_matches('\r').to_owned(),
        width: text[start..end].chars().count().max(1),
        wrong: found.wrong,
        right: found.right,
    }
}

/// The last boundary between characters at or before `at`.
fn floor(text: &str, at: usize) -> usize {
    text.floor_char_boundary(at)
}
