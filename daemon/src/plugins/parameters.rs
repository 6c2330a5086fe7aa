//! Parameters against the schema that a plugin declares.

use goodwire_proto::{
    plugin::v1::FieldViolation,
    v1::{Parameter, parameter},
};
use prost_types::{ListValue, Struct, Value, value::Kind};

use crate::config::nearest;

/// Most numbers in a list.
const NUMBER_COUNT_MAX: usize = 1000;
/// Largest whole number that `f64` holds exactly together with its neighbours.
const WHOLE_MAX: f64 = 9_007_199_254_740_992.0;

/// Checks what was `given` against `schema`, and adds the defaults of what was not. In what comes
/// back every parameter of the schema is there, in its kind: number, boolean, string or list of
/// numbers. Text is read by the kind: `20`, `true`, `1,2,3`.
///
/// Ceilings are not looked at: see [`Parameter::level`].
///
/// # Errors
/// Everything that is wrong at once, each with what would be right.
pub fn check_parameters(
    schema: &[Parameter],
    given: &Struct,
) -> Result<Struct, Vec<FieldViolation>> {
    let mut complete = Struct::default();
    let mut violations = Vec::new();
    for name in given.fields.keys() {
        if !schema.iter().any(|parameter| parameter.id == *name) {
            violations.push(FieldViolation {
                field: name.clone(),
                text: unknown(schema, name),
            });
        }
    }
    for parameter in schema {
        let id = &parameter.id;
        let value = given.fields.get(id).or(parameter.default_value.as_ref());
        match value.ok_or_else(|| "it has no default and must be given".to_owned()) {
            Ok(value) => match read(parameter, value) {
                Ok(value) => drop(complete.fields.insert(id.clone(), value)),
                Err(text) => violations.push(FieldViolation {
                    field: id.clone(),
                    text,
                }),
            },
            Err(text) => violations.push(FieldViolation {
                field: id.clone(),
                text,
            }),
        }
    }
    if violations.is_empty() {
        Ok(complete)
    } else {
        Err(violations)
    }
}

fn unknown(schema: &[Parameter], name: &str) -> String {
    let known = || schema.iter().map(|parameter| parameter.id.as_str());
    match nearest(name, known()) {
        Some(near) => format!("there is no such parameter; did you mean {near}?"),
        None if schema.is_empty() => "there is no such parameter, nor any other".into(),
        None => {
            let known: Vec<_> = known().collect();
            format!(
                "there is no such parameter; there are: {}",
                known.join(", ")
            )
        }
    }
}

/// Reads one value by its parameter's kind and checks its bounds.
pub(super) fn read(parameter: &Parameter, value: &Value) -> Result<Value, String> {
    match parameter.kind() {
        parameter::Kind::Number | parameter::Kind::Whole => {
            number(parameter, value).map(Value::from)
        }
        parameter::Kind::Switch => switch(value).map(Value::from),
        parameter::Kind::Choice => choice(parameter, value).map(Value::from),
        parameter::Kind::Numbers => numbers(parameter, value),
        parameter::Kind::Unspecified => Err("its plugin does not say what values it takes".into()),
    }
}

fn number(parameter: &Parameter, value: &Value) -> Result<f64, String> {
    let right = || wanted(parameter);
    let number = match &value.kind {
        Some(Kind::NumberValue(number)) => *number,
        Some(Kind::StringValue(text)) => text
            .trim()
            .parse()
            .map_err(|_| format!("{} is no number; {}", shown(value), right()))?,
        _ => return Err(format!("{} is no number; {}", shown(value), right())),
    };
    if !number.is_finite() {
        return Err(format!("{number} is not finite; {}", right()));
    }
    let whole = parameter.kind() == parameter::Kind::Whole;
    if whole && (number.fract() != 0.0 || number.abs() > WHOLE_MAX) {
        return Err(format!("{number} is no whole number; {}", right()));
    }
    if parameter.min.is_some_and(|min| number < min) {
        return Err(format!("{number} is too small; {}", right()));
    }
    if parameter.max.is_some_and(|max| number > max) {
        return Err(format!("{number} is too large; {}", right()));
    }
    Ok(number)
}

fn switch(value: &Value) -> Result<bool, String> {
    match &value.kind {
        Some(Kind::BoolValue(switch)) => Ok(*switch),
        Some(Kind::StringValue(text)) if text.trim() == "true" => Ok(true),
        Some(Kind::StringValue(text)) if text.trim() == "false" => Ok(false),
        _ => Err(format!(
            "{} is no switch; true or false would be right",
            shown(value)
        )),
    }
}

fn choice(parameter: &Parameter, value: &Value) -> Result<String, String> {
    let choices = &parameter.choices;
    if let Some(Kind::StringValue(text)) = &value.kind {
        if choices.iter().any(|choice| choice == text.trim()) {
            return Ok(text.trim().to_owned());
        }
        if let Some(near) = nearest(text, choices.iter().map(String::as_str)) {
            return Err(format!("{text:?} is no choice; did you mean {near}?"));
        }
    }
    Err(format!(
        "{} is no choice; one of these would be right: {}",
        shown(value),
        choices.join(", ")
    ))
}

fn numbers(parameter: &Parameter, value: &Value) -> Result<Value, String> {
    let items = match &value.kind {
        Some(Kind::ListValue(list)) => list.values.clone(),
        Some(Kind::NumberValue(_)) => vec![value.clone()],
        Some(Kind::StringValue(text)) if text.trim().is_empty() => Vec::new(),
        Some(Kind::StringValue(text)) => text.split(',').map(Value::from).collect(),
        _ => {
            return Err(format!(
                "{} is no list of numbers; {}",
                shown(value),
                wanted(parameter)
            ));
        }
    };
    if items.len() > NUMBER_COUNT_MAX {
        return Err(format!(
            "{} numbers are too many; {NUMBER_COUNT_MAX} are the most",
            items.len()
        ));
    }
    if items.is_empty() && !may_be_empty(parameter) {
        return Err(format!("the list is empty; {}", wanted(parameter)));
    }
    let numbers: Vec<f64> = items
        .iter()
        .map(|item| number(parameter, item))
        .collect::<Result<_, _>>()?;
    if parameter.rising
        && let Some(pair) = numbers.windows(2).find(|pair| pair[0] >= pair[1])
    {
        return Err(format!(
            "{} follows {}; rising numbers would be right",
            pair[1], pair[0]
        ));
    }
    let values = numbers.into_iter().map(Value::from).collect();
    Ok(Value {
        kind: Some(Kind::ListValue(ListValue { values })),
    })
}

/// A list may be empty where it is so by default.
fn may_be_empty(parameter: &Parameter) -> bool {
    match parameter
        .default_value
        .as_ref()
        .and_then(|value| value.kind.as_ref())
    {
        Some(Kind::ListValue(list)) => list.values.is_empty(),
        Some(Kind::StringValue(text)) => text.trim().is_empty(),
        _ => false,
    }
}

/// What would be right, as the end of a sentence.
fn wanted(parameter: &Parameter) -> String {
    let what = match parameter.kind() {
        parameter::Kind::Whole => "a whole number",
        parameter::Kind::Numbers => "numbers separated by commas, each",
        _ => "a number",
    };
    let range = match (parameter.min, parameter.max) {
        (Some(min), Some(max)) => format!(" from {min} to {max}"),
        (Some(min), None) => format!(" of at least {min}"),
        (None, Some(max)) => format!(" of at most {max}"),
        (None, None) => String::new(),
    };
    let what = if range.is_empty() {
        what.trim_end_matches(", each")
    } else {
        what
    };
    let unit = match parameter.unit.as_str() {
        "" => String::new(),
        unit if range.is_empty() => format!(" in {unit}"),
        unit => format!(" {unit}"),
    };
    format!("{what}{range}{unit} would be right")
}

/// A value as it was given, short.
fn shown(value: &Value) -> String {
    match &value.kind {
        Some(Kind::NumberValue(number)) => number.to_string(),
        Some(Kind::BoolValue(switch)) => switch.to_string(),
        Some(Kind::StringValue(text)) => format!("{:?}", text.chars().take(40).collect::<String>()),
        Some(Kind::ListValue(_)) => "a list".into(),
        Some(Kind::StructValue(_)) => "an object".into(),
        Some(Kind::NullValue(_)) | None => "null".into(),
    }
}

#[cfg(test)]
#[path = "parameters/tests.rs"]
mod tests;
