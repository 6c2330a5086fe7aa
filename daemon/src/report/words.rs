//! Names and numbers as the report says them.

use goodwire_proto::v1::Figure;

use crate::judge::{interval::Interval, words};

/// A link's name without `links/`; what recordings of no link are called where it is empty.
pub(crate) fn link_name(link: &str) -> &str {
    match link.rsplit_once('/').map_or(link, |(_, bare)| bare) {
        "" => "Recordings of no link",
        name => name,
    }
}

/// An id in words, as a heading begins: `Noise spectrum`, `THD`.
pub(crate) fn title(id: &str) -> String {
    words::figure_name(id)
}

/// A figure's value with its 95 % interval: `-0.42 ± 0.02 dB`.
pub(crate) fn value(figure: &Figure) -> String {
    Interval::of(figure).map_or(String::new(), |interval| {
        words::interval(&interval, &figure.unit)
    })
}

/// A text as a sentence stands: with a capital at its beginning and a full stop at its end.
pub(crate) fn sentence(text: &str) -> String {
    let mut characters = text.chars();
    let begun: String = match characters.next() {
        Some(first) => first.to_uppercase().chain(characters).collect(),
        None => return String::new(),
    };
    match begun.ends_with(['.', '!', '?']) {
        true => begun,
        false => format!("{begun}."),
    }
}

/// `A` to `Z`, then `AA` and so on.
pub(crate) fn letters(index: usize) -> String {
    let last = char::from(b'A' + u8::try_from(index % 26).expect("less than 26"));
    match index / 26 {
        0 => last.to_string(),
        more => format!("{}{last}", letters(more - 1)),
    }
}

/// Names one after the other: `a`, `a and b`, `a, b and c`.
pub(crate) fn joined(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [only] => (*only).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// A share in whole percent, told as done only when it is.
pub(crate) fn percent(share: f64) -> String {
    format!("{:.0} %", (100.0 * share).floor().clamp(0.0, 100.0))
}

/// A count with its noun: `1 link`, `4 links`.
pub(crate) fn counted(count: usize, noun: &str) -> String {
    let ending = if count == 1 { "" } else { "s" };
    format!("{count} {noun}{ending}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_27th_and_the_703rd_letters_are_aa_and_aaa() {
        assert_eq!(
            [0, 25, 26, 701, 702].map(letters),
            ["A", "Z", "AA", "ZZ", "AAA"]
        );
    }

    #[test]
    fn a_note_becomes_a_sentence_and_a_sentence_stays_one() {
        assert_eq!(sentence("hum at 50 Hz"), "Hum at 50 Hz.");
        assert_eq!(sentence("Hum."), "Hum.");
    }

    #[test]
    fn three_names_are_told_as_a_sentence_does() {
        assert_eq!(joined(&["a", "b", "c"]), "a, b and c");
    }
}
