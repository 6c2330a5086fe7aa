//! The line that is kept with a stimulus, so that a recording of it can be analysed without saying
//! again how it was made:
//!
//! ```text
//! goodwire-stimulus 1 {"analysis":"response","parameters":{"start_hz":20},"rate_hz":48000,"version":"0.1.0"}
//! ```
//!
//! It is one line of ASCII. Whoever reads it takes the first object after the mark, wherever that
//! stands in a text, and leaves alone what it does not know.

use prost_types::{ListValue, Struct, Value as Parameter, value::Kind};
use serde_json::{Deserializer, Map, Value, json};

/// What the line begins with; the number is that of its format.
const MARK: &str = "goodwire-stimulus 1";

/// How a stimulus was made.
#[derive(Debug, Clone, PartialEq)]
pub struct StimulusComment {
    /// Id of the analysis.
    pub analysis: String,
    /// Every parameter that was used, by its id; numbers are right to their 15th digit.
    pub parameters: Struct,
    /// Rate in Hz.
    pub rate_hz: i32,
    /// Version of the daemon that made it; empty where it is not known.
    pub version: String,
}

/// Writes the line for a stimulus of this version of the daemon.
#[must_use]
pub fn encode(analysis: &str, parameters: &Struct, rate_hz: i32) -> String {
    let comment = json!({
        "analysis": analysis,
        "parameters": object_of(parameters),
        "rate_hz": rate_hz,
        "version": env!("CARGO_PKG_VERSION"),
    });
    format!("{MARK} {}", ascii(&comment.to_string()))
}

/// Reads the line again, out of a comment that may hold other text as well; `None` where it does
/// not stand there.
#[must_use]
pub fn decode(comment: &str) -> Option<StimulusComment> {
    let (_, after) = comment.split_once(MARK)?;
    let object: Value = Deserializer::from_str(after).into_iter().next()?.ok()?;
    let parameters = object.get("parameters").and_then(Value::as_object);
    Some(StimulusComment {
        analysis: object.get("analysis")?.as_str()?.to_owned(),
        parameters: parameters.map(struct_of).unwrap_or_default(),
        rate_hz: i32::try_from(object.get("rate_hz")?.as_u64()?).ok()?,
        version: object
            .get("version")
            .and_then(Value::as_str)
            .unwrap_or_default()
            .to_owned(),
    })
}

fn object_of(parameters: &Struct) -> Value {
    let entries = parameters.fields.iter();
    Value::Object(
        entries
            .map(|(id, value)| (id.clone(), value_of(value)))
            .collect(),
    )
}

fn value_of(parameter: &Parameter) -> Value {
    match &parameter.kind {
        None | Some(Kind::NullValue(_)) => Value::Null,
        Some(Kind::BoolValue(truth)) => (*truth).into(),
        Some(Kind::NumberValue(number)) => (*number).into(),
        Some(Kind::StringValue(text)) => text.clone().into(),
        Some(Kind::ListValue(list)) => list.values.iter().map(value_of).collect(),
        Some(Kind::StructValue(inner)) => object_of(inner),
    }
}

fn struct_of(object: &Map<String, Value>) -> Struct {
    let entries = object.iter();
    Struct {
        fields: entries
            .map(|(id, value)| (id.clone(), parameter_of(value)))
            .collect(),
    }
}

fn parameter_of(value: &Value) -> Parameter {
    let kind = match value {
        Value::Null => Kind::NullValue(0),
        Value::Bool(truth) => Kind::BoolValue(*truth),
        // Only with features that are not used here a number may be none.
        Value::Number(number) => Kind::NumberValue(number.as_f64().unwrap_or(f64::NAN)),
        Value::String(text) => Kind::StringValue(text.clone()),
        Value::Array(values) => Kind::ListValue(ListValue {
            values: values.iter().map(parameter_of).collect(),
        }),
        Value::Object(object) => Kind::StructValue(struct_of(object)),
    };
    Parameter { kind: Some(kind) }
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

    use super::*;

    fn parameters() -> Struct {
        let json = json!({
            "start_hz": 20.0, "levels_dbfs": [-40.0, -20.5], "smoothing": "1/3", "synchronous": true,
        });
        struct_of(json.as_object().expect("an object"))
    }

    fn sample() -> StimulusComment {
        StimulusComment {
            analysis: "response".into(),
            parameters: parameters(),
            rate_hz: 48_000,
            version: env!("CARGO_PKG_VERSION").into(),
        }
    }

    #[test]
    fn the_line_is_as_documented() {
        let line = encode("response", &parameters(), 48_000);
        let want = "goodwire-stimulus 1 {\"analysis\":\"response\",\"parameters\":{\"levels_dbfs\":\
                    [-40.0,-20.5],\"smoothing\":\"1/3\",\"start_hz\":20.0,\"synchronous\":true},\
                    \"rate_hz\":48000,\"version\":\"";
        assert!(line.starts_with(want), "{line}");
        assert_eq!(decode(&line), Some(sample()));
    }

    #[test]
    fn other_text_around_it_and_keys_from_later_are_left_alone() {
        let line = encode("response", &parameters(), 48_000)
            .replace("\"rate_hz\"", "\"later\":{\"x\":[1]},\"rate_hz\"");
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
        fn any_texts_come_back_from_one_line_of_ascii_and_numbers_to_their_15th_digit(
            analysis: String, key: String, text: String, number in -1e9_f64..1e9,
        ) {
            let mut given = parameters();
            let parameter = |kind| Parameter { kind: Some(kind) };
            given.fields.insert(key.clone(), parameter(Kind::StringValue(text)));
            given.fields.insert(key.clone() + "x", parameter(Kind::NumberValue(number)));
            let line = encode(&analysis, &given, 48_000);
            prop_assert!(line.bytes().all(|byte| (0x20..0x7F).contains(&byte)), "{line}");
            let mut got = decode(&line).expect("it is such a line");
            let last = got.parameters.fields.remove(&(key.clone() + "x")).and_then(|x| x.kind);
            let Some(Kind::NumberValue(last)) = last else { panic!("got {last:?}") };
            // The reader of JSON may miss the last bit.
            prop_assert!((last - number).abs() <= 3e-16 * number.abs());
            given.fields.remove(&(key + "x"));
            prop_assert_eq!((got.analysis, got.parameters), (analysis, given));
        }

        #[test]
        fn no_text_makes_it_panic(text: String) {
            let _ = decode(&text);
            let _ = decode(&format!("{MARK} {text}"));
        }
    }
}
