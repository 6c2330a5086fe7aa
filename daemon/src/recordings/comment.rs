//! The line that is kept with a stimulus, so that a recording of it can be analysed without saying
//! again how it was made:
//!
//! ```text
//! goodwire-stimulus 1 {"analysis":"response","parameters":{"start_hz":20},"rate_hz":48000,"version":"0.1.0"}
//! ```
//!
//! It is one line of ASCII. Whoever reads it takes the first object after the mark, wherever that
//! stands in a text, and leaves alone what it does not know.

use serde::{Deserialize, Serialize};
use serde_json::{Deserializer, Map, Value};

/// What the line begins with; the number is that of its format.
const MARK: &str = "goodwire-stimulus 1";

/// How a stimulus was made.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StimulusComment {
    /// Id of the analysis.
    pub analysis: String,
    /// Every parameter that was used, by its id.
    #[serde(default)]
    pub parameters: Map<String, Value>,
    /// Rate in Hz.
    pub rate_hz: u32,
    /// Version of the daemon that made it; empty where it is not known.
    #[serde(default)]
    pub version: String,
}

/// Writes the line.
#[must_use]
pub fn encode(comment: &StimulusComment) -> String {
    let json = serde_json::to_string(comment).expect("texts and numbers can be written");
    format!("{MARK} {}", ascii(&json))
}

/// Reads the line again, out of a comment that may hold other text as well; `None` where it does
/// not stand there.
#[must_use]
pub fn decode(comment: &str) -> Option<StimulusComment> {
    let (_, after) = comment.split_once(MARK)?;
    Deserializer::from_str(after).into_iter().next()?.ok()
}

/// Escapes what is not printable ASCII; outside of its texts JSON has nothing of the kind.
fn ascii(json: &str) -> String {
    let mut line = String::with_capacity(json.len());
    for character in json.chars() {
        if matches!(character, ' '..='~') {
            line.push(character);
        } else {
            let mut units = [0; 2];
            for unit in character.encode_utf16(&mut units) {
                line.push_str(&format!("\\u{unit:04x}"));
            }
        }
    }
    line
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use serde_json::json;

    use super::*;

    fn sample() -> StimulusComment {
        let parameters =
            json!({"start_hz": 20.0, "levels_dbfs": [-40.0, -20.0], "smoothing": "1/3"});
        StimulusComment {
            analysis: "response".into(),
            parameters: parameters.as_object().expect("an object").clone(),
            rate_hz: 48_000,
            version: "0.1.0".into(),
        }
    }

    #[test]
    fn the_line_is_as_documented() {
        assert_eq!(
            encode(&sample()),
            "goodwire-stimulus 1 {\"analysis\":\"response\",\"parameters\":{\"levels_dbfs\":\
             [-40.0,-20.0],\"smoothing\":\"1/3\",\"start_hz\":20.0},\"rate_hz\":48000,\
             \"version\":\"0.1.0\"}"
        );
    }

    #[test]
    fn other_text_around_it_and_keys_from_later_are_left_alone() {
        let line = encode(&sample()).replace("\"rate_hz\"", "\"later\":{\"x\":[1]},\"rate_hz\"");
        assert_eq!(
            decode(&format!("take 3, {line} lectern {{}}\0")),
            Some(sample())
        );
        let least = "goodwire-stimulus 1{\"analysis\":\"level\",\"rate_hz\":44100}";
        assert_eq!(decode(least).map(|comment| comment.rate_hz), Some(44_100));
    }

    #[test]
    fn what_is_no_such_line_is_none() {
        for text in [
            "",
            "take 3",
            "goodwire-stimulus 1",
            "goodwire-stimulus 1 {\"analysis\":",
            "goodwire-stimulus 2 {\"analysis\":\"level\",\"rate_hz\":44100}",
            "goodwire-stimulus 1 {\"analysis\":\"level\",\"rate_hz\":-1}",
        ] {
            assert_eq!(decode(text), None, "{text}");
        }
    }

    proptest! {
        #[test]
        fn any_texts_come_back_from_one_line_of_ascii_and_numbers_to_their_last_digit(
            analysis: String, key: String, text: String, number in -1e9_f64..1e9,
        ) {
            let mut comment = sample();
            comment.analysis = analysis;
            comment.parameters.insert(key, json!(text));
            let mut with_number = comment.clone();
            with_number.parameters.insert("x".into(), json!(number));
            let got = decode(&encode(&with_number)).and_then(|c| c.parameters["x"].as_f64());
            // The reader of JSON may miss the last bit.
            prop_assert!((got.expect("it is there") / number - 1.0).abs() < 3e-16);
            let line = encode(&comment);
            prop_assert!(line.bytes().all(|byte| (0x20..0x7F).contains(&byte)), "{line}");
            prop_assert_eq!(decode(&line), Some(comment));
        }

        #[test]
        fn no_text_makes_it_panic(text: String) {
            let _ = decode(&text);
            let _ = decode(&format!("{MARK} {text}"));
        }
    }
}
