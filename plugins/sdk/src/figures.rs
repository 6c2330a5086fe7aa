//! What results are made of, in few words.

use crate::api::{Curve, Event, Figure, Note, note};
use crate::{Kind, Struct, Value};

/// A number with its unit and one standard deviation. `uncertainty` is taken by its magnitude.
#[must_use]
pub fn figure(id: &str, value: f64, uncertainty: f64, unit: &str) -> Figure {
    Figure {
        id: id.to_owned(),
        value: Some(value),
        uncertainty: Some(uncertainty.abs()),
        unit: unit.to_owned(),
        ..Figure::default()
    }
}

/// A series: `y` with its standard deviations over `x`; `y_uncertainty` may be empty.
#[must_use]
pub fn curve(
    id: &str,
    [x_unit, y_unit]: [&str; 2],
    x: Vec<f64>,
    y: Vec<f64>,
    y_uncertainty: Vec<f64>,
) -> Curve {
    Curve {
        id: id.to_owned(),
        x_unit: x_unit.to_owned(),
        y_unit: y_unit.to_owned(),
        x,
        y,
        y_uncertainty,
        at: None,
    }
}

/// Something that happened `start_s` after the first frame of the returned recording.
#[must_use]
pub fn event(id: &str, start_s: f64, duration_s: Option<f64>, text: impl Into<String>) -> Event {
    Event {
        id: id.to_owned(),
        start_s: Some(start_s),
        duration_s,
        at: None,
        text: text.into(),
    }
}

/// A note that is good to know: the figures stand.
#[must_use]
pub fn info(id: &str, text: impl Into<String>) -> Note {
    note_of(note::Level::Info, id, text.into())
}

/// A note that a figure is missing, is a bound or may mislead.
#[must_use]
pub fn warning(id: &str, text: impl Into<String>) -> Note {
    note_of(note::Level::Warning, id, text.into())
}

fn note_of(level: note::Level, id: &str, text: String) -> Note {
    Note {
        level: level.into(),
        id: id.to_owned(),
        text,
    }
}

/// Says where something was asked for or found.
pub trait Located: Sized {
    /// Adds a place with a number: `at("frequency_hz", 997.0)`.
    #[must_use]
    fn at(self, name: &str, number: f64) -> Self {
        self.at_value(name, Kind::NumberValue(number))
    }

    /// Adds a place with a word: `at_name("link", "lectern")`.
    #[must_use]
    fn at_name(self, name: &str, word: &str) -> Self {
        self.at_value(name, Kind::StringValue(word.to_owned()))
    }

    /// Adds a place with any value.
    #[must_use]
    fn at_value(self, name: &str, value: Kind) -> Self;
}

fn insert(at: &mut Option<Struct>, name: &str, value: Kind) {
    let value = Value { kind: Some(value) };
    at.get_or_insert_default()
        .fields
        .insert(name.to_owned(), value);
}

impl Located for Figure {
    fn at_value(mut self, name: &str, value: Kind) -> Self {
        insert(&mut self.at, name, value);
        self
    }
}

impl Located for Curve {
    fn at_value(mut self, name: &str, value: Kind) -> Self {
        insert(&mut self.at, name, value);
        self
    }
}

impl Located for Event {
    fn at_value(mut self, name: &str, value: Kind) -> Self {
        insert(&mut self.at, name, value);
        self
    }
}
