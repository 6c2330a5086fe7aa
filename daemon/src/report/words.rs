//! Names, times and numbers as the report says them.

use goodwire_proto::v1::{Figure, Measurement};
use prost_types::Timestamp;

use crate::judge::{interval::Interval, words};

/// A link's name without `links/`; what recordings of no link are called where it is empty.
pub(super) fn link_name(link: &str) -> &str {
    match link.rsplit_once('/').map_or(link, |(_, bare)| bare) {
        "" => "Recordings of no link",
        name => name,
    }
}

/// An id in words, as a heading begins: `Noise spectrum`, `THD`.
pub(super) fn title(id: &str) -> String {
    words::figure_name(id)
}

/// A time to the minute, in UTC so that every reader reads the same: `2026-11-25 17:05 UTC`.
/// Empty where there is none.
pub(super) fn time(time: Option<&Timestamp>) -> String {
    let time = time.and_then(|time| jiff::Timestamp::new(time.seconds, time.nanos).ok());
    time.map(|time| time.strftime("%Y-%m-%d %H:%M UTC").to_string())
        .unwrap_or_default()
}

/// When a measurement was made; when it was asked for, where it never began.
pub(super) fn time_of(measurement: &Measurement) -> String {
    let begun = measurement.start_time.as_ref();
    time(begun.or(measurement.create_time.as_ref()))
}

/// A figure's value with its 95 % interval: `-0.42 ± 0.02 dB`.
pub(super) fn value(figure: &Figure) -> String {
    Interval::of(figure).map_or(String::new(), |interval| {
        words::interval(&interval, &figure.unit)
    })
}

/// A text as a sentence stands: with a capital at its beginning and a full stop at its end.
pub(super) fn sentence(text: &str) -> String {
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
pub(super) fn letters(index: usize) -> String {
    let last = char::from(b'A' + u8::try_from(index % 26).expect("less than 26"));
    match index / 26 {
        0 => last.to_string(),
        more => format!("{}{last}", letters(more - 1)),
    }
}

/// Names one after the other: `a`, `a and b`, `a, b and c`.
pub(super) fn joined(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [only] => (*only).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// A count with its noun: `1 link`, `4 links`.
pub(super) fn counted(count: usize, noun: &str) -> String {
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
