//! `at`: which figure is meant, and where it is.

use std::collections::BTreeMap;

use goodwire_proto::v1::Figure;
use prost_types::{Struct, Value, value::Kind};

use super::words;
use crate::config::AtValue;

/// Numbers that differ by less than this part are the same: they went through decimal notation.
const SAME: f64 = 1e-9;

/// True where the place of a figure or curve agrees with every key that a limit gives.
pub(super) fn agrees(place: Option<&Struct>, at: &BTreeMap<String, AtValue>) -> bool {
    at.iter().all(|(key, wanted)| {
        let found = place.and_then(|place| place.fields.get(key));
        match (found.and_then(|value| value.kind.as_ref()), wanted) {
            (Some(Kind::NumberValue(found)), AtValue::Number(wanted)) => same(*found, *wanted),
            (Some(Kind::StringValue(found)), AtValue::Text(wanted)) => found == wanted,
            _ => false,
        }
    })
}

fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= SAME * a.abs().max(b.abs())
}

/// What was asked for, without where the figure was found: the frequency within a band
/// (`from_hz`, `to_hz`) is where its extreme lay, and differs from measurement to measurement.
#[must_use]
pub fn asked(at: Option<&Struct>) -> Struct {
    let mut asked = at.cloned().unwrap_or_default();
    if asked.fields.contains_key("from_hz") && asked.fields.contains_key("to_hz") {
        asked.fields.remove("frequency_hz");
    }
    asked
}

/// True where both were asked for at the same place.
pub(crate) fn same_place(a: Option<&Struct>, b: Option<&Struct>) -> bool {
    let (a, b) = (asked(a), asked(b));
    a.fields.len() == b.fields.len()
        && a.fields.iter().all(|(key, value)| {
            b.fields
                .get(key)
                .is_some_and(|other| match (&value.kind, &other.kind) {
                    (Some(Kind::NumberValue(a)), Some(Kind::NumberValue(b))) => same(*a, *b),
                    _ => value == other,
                })
        })
}

/// The figure of another measurement that is about the same: same id, asked for at the same place.
pub(crate) fn counterpart<'a>(figure: &Figure, others: &'a [Figure]) -> Option<&'a Figure> {
    others
        .iter()
        .find(|other| other.id == figure.id && same_place(other.at.as_ref(), figure.at.as_ref()))
}

/// A place in words, beginning with a space: ` from 125 Hz to 250 Hz`, ` at 1000 Hz, -10 dBFS`;
/// empty for the whole.
pub(crate) fn in_words(at: Option<&Struct>) -> String {
    let Some(at) = at else { return String::new() };
    let shown = |key: &str, value: &Value| match &value.kind {
        Some(Kind::NumberValue(number)) => {
            words::with_unit(&words::number(*number), words::unit_of(key))
        }
        Some(Kind::StringValue(text)) => text.clone(),
        _ => String::new(),
    };
    let mut text = String::new();
    for (key, preposition) in [("from_hz", "from"), ("to_hz", "to")] {
        if let Some(value) = at.fields.get(key) {
            text.push_str(&format!(" {preposition} {}", shown(key, value)));
        }
    }
    let others: Vec<String> = at
        .fields
        .iter()
        .filter(|(key, _)| *key != "from_hz" && *key != "to_hz")
        .map(|(key, value)| shown(key, value))
        .collect();
    if !others.is_empty() {
        text.push_str(&format!(" at {}", others.join(", ")));
    }
    text
}

/// A limit's `at` as the API has it; absent where it is empty.
pub(super) fn to_struct(at: &BTreeMap<String, AtValue>) -> Option<Struct> {
    let fields = at.iter().map(|(key, value)| {
        let kind = match value {
            AtValue::Number(number) => Kind::NumberValue(*number),
            AtValue::Text(text) => Kind::StringValue(text.clone()),
        };
        (key.clone(), Value { kind: Some(kind) })
    });
    (!at.is_empty()).then(|| Struct {
        fields: fields.collect(),
    })
}
