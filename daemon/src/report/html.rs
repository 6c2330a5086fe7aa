//! What makes text safe to stand in HTML and SVG.

use std::fmt::{self, Write};

/// Text that somebody else wrote, escaped for elements and quoted attributes alike.
///
/// Characters that HTML forbids, and those that turn the direction of writing round and could so
/// make a name look like another, are shown as U+FFFD.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Safe<'a>(pub(crate) &'a str);

impl fmt::Display for Safe<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for character in self.0.chars() {
            match character {
                '&' => f.write_str("&amp;")?,
                '<' => f.write_str("&lt;")?,
                '>' => f.write_str("&gt;")?,
                '"' => f.write_str("&quot;")?,
                '\'' => f.write_str("&#39;")?,
                '\n' | '\t' => f.write_char(' ')?,
                _ if is_unfit(character) => f.write_char('\u{fffd}')?,
                _ => f.write_char(character)?,
            }
        }
        Ok(())
    }
}

fn is_unfit(character: char) -> bool {
    character.is_control() || matches!(character, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// A box in which something wide can be scrolled, with the keyboard too; `what` says what it is.
pub(crate) fn scrolled(what: &str, inner: &str) -> String {
    format!(
        "<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"{}\">\n{inner}</div>\n",
        Safe(what)
    )
}

/// List items in a list of a class; empty where there are none.
pub(crate) fn list(class: &str, items: &[String]) -> String {
    if items.is_empty() {
        return String::new();
    }
    let items: String = items
        .iter()
        .map(|item| format!("<li>{item}</li>\n"))
        .collect();
    format!("<ul class=\"{class}\">\n{items}</ul>\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn markup_and_quotes_of_users_become_plain_text() {
        let text = Safe("<b onclick='x(\"&\")'>").to_string();
        assert_eq!(text, "&lt;b onclick=&#39;x(&quot;&amp;&quot;)&#39;&gt;");
    }

    #[test]
    fn controls_and_turned_writing_are_shown_as_such() {
        let text = Safe("a\0b\u{202e}c\nd").to_string();
        assert_eq!(text, "a\u{fffd}b\u{fffd}c d");
    }
}
