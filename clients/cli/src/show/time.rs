//! Times for people, in UTC: the venue's own zone is not ours to guess.

use prost_types::Timestamp;

/// `2026-11-25 09:41:02 UTC`; empty where there is none.
pub fn full(time: Option<&Timestamp>) -> String {
    time.map_or_else(String::new, |time| {
        let (day, clock) = parts(time);
        format!("{day} {clock} UTC")
    })
}

/// `2026-11-25` and `09:41:02`.
pub fn parts(time: &Timestamp) -> (String, String) {
    let whole = Timestamp { nanos: 0, ..*time };
    let text = whole.to_string();
    match text.split_once('T') {
        Some((day, clock)) => (day.to_owned(), clock.trim_end_matches('Z').to_owned()),
        None => (text, String::new()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_have_whole_seconds_and_a_zone() {
        let time: Timestamp = "2026-11-25T09:41:02.75Z".parse().unwrap();
        assert_eq!(full(Some(&time)), "2026-11-25 09:41:02 UTC");
        assert_eq!(full(None), "");
    }
}
