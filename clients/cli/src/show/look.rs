//! What the terminal can show: width, colour, letters beyond ASCII.

use std::{
    env,
    io::{self, IsTerminal},
};

/// Width where there is no terminal to ask.
const WIDTH_USUAL: usize = 80;
/// Below this, tables overflow rather than vanish.
const WIDTH_MIN: usize = 40;
/// Longer lines are hard to read.
const WIDTH_MAX: usize = 120;

/// How text for people looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// Characters in a line.
    pub width: usize,
    /// Whether letters beyond ASCII can be shown.
    pub unicode: bool,
    /// Whether colour may be used; nothing is told by colour alone.
    pub colour: bool,
}

/// A colour or weight of the terminal's own palette.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paint {
    /// Heavier.
    Bold,
    /// Lighter.
    Dim,
    /// For what is well.
    Green,
    /// For what has moved.
    Yellow,
    /// For what is broken.
    Red,
    /// For what is not known.
    Cyan,
}

impl Look {
    /// The look that fits standard output and the locale.
    pub fn of_terminal() -> Self {
        let terminal = io::stdout().is_terminal();
        let set = |name| env::var(name).ok().filter(|value| !value.is_empty());
        let dumb = set("TERM").is_none_or(|term| term == "dumb");
        Self {
            width: terminal_width().unwrap_or(WIDTH_USUAL),
            unicode: speaks_utf8(["LC_ALL", "LC_CTYPE", "LANG"].into_iter().find_map(set)),
            colour: terminal && !dumb && set("NO_COLOR").is_none(),
        }
    }

    /// The first where letters beyond ASCII can be shown, else the second.
    pub fn either<T>(&self, unicode: T, ascii: T) -> T {
        if self.unicode { unicode } else { ascii }
    }

    /// Text in a colour, where colour may be used.
    pub fn paint(&self, paint: Paint, text: &str) -> String {
        if !self.colour || text.is_empty() {
            return text.to_owned();
        }
        let code = match paint {
            Paint::Bold => 1,
            Paint::Dim => 2,
            Paint::Red => 31,
            Paint::Green => 32,
            Paint::Yellow => 33,
            Paint::Cyan => 36,
        };
        format!("\x1b[{code}m{text}\x1b[0m")
    }

    /// A heading, with an empty line before it.
    pub fn heading(&self, text: &str) -> String {
        format!("\n{}\n", self.paint(Paint::Bold, text))
    }

    /// Wraps a sentence: `first` stands before its first line, as many spaces before the others.
    pub fn wrap(&self, first: &str, text: &str) -> String {
        let indent = first.chars().count();
        let room = self.width.saturating_sub(indent).max(20);
        let mut lines = vec![String::new()];
        for word in text.split_whitespace() {
            let last = lines.last_mut().expect("there is always a line");
            let together = last.chars().count() + 1 + word.chars().count();
            if last.is_empty() {
                last.push_str(word);
            } else if together <= room {
                last.push(' ');
                last.push_str(word);
            } else {
                lines.push(word.to_owned());
            }
        }
        format!(
            "{first}{}\n",
            lines.join(&format!("\n{}", " ".repeat(indent)))
        )
    }

    /// Spells text with the letters that the terminal has.
    pub fn spell(&self, text: &str) -> String {
        if self.unicode || text.is_ascii() {
            return text.to_owned();
        }
        let mut spelt = String::with_capacity(text.len());
        for letter in text.chars() {
            match letter {
                letter if letter.is_ascii() => spelt.push(letter),
                '±' => spelt.push_str("+/-"),
                '°' => spelt.push_str(" deg"),
                '−' | '–' | '—' | '‑' => spelt.push('-'),
                '·' | '×' => spelt.push('*'),
                '÷' => spelt.push('/'),
                '…' => spelt.push_str("..."),
                '‘' | '’' => spelt.push('\''),
                '“' | '”' => spelt.push('"'),
                '²' => spelt.push_str("^2"),
                '³' => spelt.push_str("^3"),
                'µ' | 'μ' => spelt.push('u'),
                'Ω' => spelt.push_str("ohm"),
                '≤' => spelt.push_str("<="),
                '≥' => spelt.push_str(">="),
                '\u{a0}' | '\u{202f}' | '\u{2009}' => spelt.push(' '),
                _ => spelt.push('?'),
            }
        }
        spelt
    }
}

/// The width of the terminal on standard output.
fn terminal_width() -> Option<usize> {
    let size = rustix::termios::tcgetwinsize(io::stdout()).ok()?;
    (size.ws_col > 0).then(|| usize::from(size.ws_col).clamp(WIDTH_MIN, WIDTH_MAX))
}

/// True where the locale's name says UTF-8.
fn speaks_utf8(locale: Option<String>) -> bool {
    let locale = locale.unwrap_or_default().to_lowercase();
    locale.contains("utf-8") || locale.contains("utf8")
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAIN: Look = Look {
        width: 40,
        unicode: true,
        colour: false,
    };

    #[test]
    fn sentences_wrap_at_40_characters_under_their_first_word() {
        let text = PLAIN.wrap(
            "  - ",
            "the two paths were never matched, so the gain of the two inputs is in the figure",
        );
        assert_eq!(
            text,
            "  - the two paths were never matched, so\n    the gain of the two inputs is in the\n    figure\n"
        );
    }

    #[test]
    fn without_utf8_only_ascii_is_spelt() {
        let ascii = Look {
            unicode: false,
            ..PLAIN
        };
        assert_eq!(
            ascii.spell("±3 dB at 180° – 20 Ω ✓"),
            "+/-3 dB at 180 deg - 20 ohm ?"
        );
        assert_eq!(PLAIN.spell("± ✓"), "± ✓");
        assert!(speaks_utf8(Some("de_DE.UTF-8".into())) && speaks_utf8(Some("C.utf8".into())));
        assert!(!speaks_utf8(Some("C".into())) && !speaks_utf8(None));
    }
}
