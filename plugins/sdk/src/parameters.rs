//! What can be set of an analysis: declared in its description, read back from a request.

use crate::api::{Parameter, parameter};
use crate::payload::{FieldViolation, OpenRequest};
use crate::{Kind, ListValue, Value};

/// Declares a number in `unit`.
#[must_use]
pub fn number(id: &str, unit: &str, default: f64, text: &str) -> Parameter {
    declared(parameter::Kind::Number, id, unit, value(default), text)
}

/// Declares a whole number, a count.
#[must_use]
pub fn whole(id: &str, default: u32, text: &str) -> Parameter {
    let default = value(f64::from(default));
    declared(parameter::Kind::Whole, id, "", default, text)
}

/// Declares something that is on or off.
#[must_use]
pub fn switch(id: &str, default: bool, text: &str) -> Parameter {
    let default = Kind::BoolValue(default);
    declared(parameter::Kind::Switch, id, "", default, text)
}

/// Declares one of `choices`; the first is the default.
#[must_use]
pub fn choice(id: &str, choices: &[&str], text: &str) -> Parameter {
    let default = Kind::StringValue(choices.first().copied().unwrap_or_default().to_owned());
    Parameter {
        choices: choices.iter().map(|&word| word.to_owned()).collect(),
        ..declared(parameter::Kind::Choice, id, "", default, text)
    }
}

/// Declares a list of numbers in `unit`.
#[must_use]
pub fn numbers(id: &str, unit: &str, default: &[f64], text: &str) -> Parameter {
    let values = default
        .iter()
        .map(|&number| Value {
            kind: Some(value(number)),
        })
        .collect();
    let default = Kind::ListValue(ListValue { values });
    declared(parameter::Kind::Numbers, id, unit, default, text)
}

/// The wake-up that every stimulus opens with.
#[must_use]
pub fn wake_s() -> Parameter {
    let text = "Seconds of quiet noise, 20 dB below the stimulus, that wake links which mute when \
                idle; nothing is measured on it.";
    number("wake_s", "s", 1.5, text).within(0.0, 60.0)
}

/// The peak that the stimulus plays at, held to the send's ceiling by the daemon.
#[must_use]
pub fn level_dbfs(default_dbfs: f64) -> Parameter {
    let text = "Peak of the stimulus at the send, in dB of full scale.";
    number("level_dbfs", "dBFS", default_dbfs, text)
        .within(-100.0, 0.0)
        .level()
}

/// Whether two recordings made without a reference share clock and start with what was sent.
#[must_use]
pub fn synchronous() -> Parameter {
    let text = "Declares that sent and returned recording share start and clock, so that their \
                delay is the latency.";
    switch("synchronous", false, text)
}

/// Narrows a declared parameter.
pub trait Narrow {
    /// Bounds it: of a list, each number.
    #[must_use]
    fn within(self, min: f64, max: f64) -> Self;
    /// Says that it is a level that a send plays at.
    #[must_use]
    fn level(self) -> Self;
    /// Says that the numbers of a list rise strictly.
    #[must_use]
    fn rising(self) -> Self;
}

impl Narrow for Parameter {
    fn within(self, min: f64, max: f64) -> Self {
        Self {
            min: Some(min),
            max: Some(max),
            ..self
        }
    }

    fn level(self) -> Self {
        Self {
            level: true,
            ..self
        }
    }

    fn rising(self) -> Self {
        Self {
            rising: true,
            ..self
        }
    }
}

/// Reads the parameters of a request. What is absent or of another kind reads as 0, false or
/// empty: the daemon has completed and checked all of them before.
#[derive(Debug, Clone, Copy)]
pub struct Parameters<'a>(&'a OpenRequest);

impl<'a> Parameters<'a> {
    /// The parameters of `request`.
    #[must_use]
    pub fn of(request: &'a OpenRequest) -> Self {
        Self(request)
    }

    /// A number, in the unit of its declaration.
    #[must_use]
    pub fn number(self, id: &str) -> f64 {
        match self.kind(id) {
            Some(Kind::NumberValue(number)) => *number,
            _ => 0.0,
        }
    }

    /// A count; below 0 reads as 0.
    #[must_use]
    pub fn whole(self, id: &str) -> usize {
        self.number(id).round() as usize
    }

    /// Whether something is on.
    #[must_use]
    pub fn switch(self, id: &str) -> bool {
        matches!(self.kind(id), Some(Kind::BoolValue(true)))
    }

    /// The chosen word.
    #[must_use]
    pub fn choice(self, id: &str) -> &'a str {
        match self.kind(id) {
            Some(Kind::StringValue(word)) => word,
            _ => "",
        }
    }

    /// A list of numbers, in the unit of its declaration.
    #[must_use]
    pub fn numbers(self, id: &str) -> Vec<f64> {
        let Some(Kind::ListValue(list)) = self.kind(id) else {
            return Vec::new();
        };
        let number = |value: &Value| match value.kind {
            Some(Kind::NumberValue(number)) => Some(number),
            _ => None,
        };
        list.values.iter().filter_map(number).collect()
    }

    fn kind(self, id: &str) -> Option<&'a Kind> {
        self.0.parameters.as_ref()?.fields.get(id)?.kind.as_ref()
    }
}

/// Says what is wrong with parameter `id` and what would be right.
#[must_use]
pub fn violation(id: &str, text: impl Into<String>) -> FieldViolation {
    FieldViolation {
        field: id.to_owned(),
        text: text.into(),
    }
}

fn value(number: f64) -> Kind {
    Kind::NumberValue(number)
}

fn declared(kind: parameter::Kind, id: &str, unit: &str, default: Kind, text: &str) -> Parameter {
    Parameter {
        id: id.to_owned(),
        kind: kind.into(),
        unit: unit.to_owned(),
        text: text.to_owned(),
        default_value: Some(Value {
            kind: Some(default),
        }),
        ..Parameter::default()
    }
}

/// A request whose parameters all have the defaults of `declared`, for tests of plugins.
#[must_use]
pub fn request_of_defaults(analysis: &str, declared: &[Parameter]) -> OpenRequest {
    let fields = declared
        .iter()
        .filter_map(|parameter| Some((parameter.id.clone(), parameter.default_value.clone()?)))
        .collect();
    OpenRequest {
        analysis: analysis.to_owned(),
        parameters: Some(crate::Struct { fields }),
        ..OpenRequest::default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn defaults_are_read_back_by_kind() {
        let declared = [
            number("duration_s", "s", 5.0, "").within(0.5, 60.0),
            whole("repeats", 4, ""),
            switch("synchronous", true, ""),
            choice("smoothing", &["none", "1/3"], ""),
            numbers("bands_hz", "Hz", &[20.0, 63.0], "").rising(),
            level_dbfs(-20.0),
        ];
        let request = request_of_defaults("response", &declared);
        let read = Parameters::of(&request);
        assert!((read.number("duration_s") - 5.0).abs() < 1e-12);
        assert_eq!(read.whole("repeats"), 4);
        assert!(read.switch("synchronous"));
        assert_eq!(read.choice("smoothing"), "none");
        assert_eq!(read.numbers("bands_hz"), [20.0, 63.0]);
        assert!(declared[5].level && declared[4].rising);
        assert_eq!(read.numbers("absent"), [0.0; 0]);
    }
}
