//! What can be measured.

use goodwire_proto::v1::{Analysis, Parameter, parameter::Kind};
use prost_types::{Value, value};

use super::{
    Look,
    look::Paint,
    number,
    table::{Side, Table},
};

/// All analyses, each in a sentence.
pub fn render(look: &Look, analyses: &[Analysis]) -> String {
    if analyses.is_empty() {
        return "Nothing can be measured: no plugin was found.\n".into();
    }
    let width = analyses
        .iter()
        .map(|a| bare(a).chars().count())
        .max()
        .unwrap_or(0);
    let mut text = String::new();
    for analysis in analyses {
        text.push_str(&look.wrap(&format!("  {:width$}  ", bare(analysis)), &analysis.summary));
    }
    text.push_str("\n`goodwire analyses ANALYSIS` tells what can be set and what it gives.\n");
    text
}

/// One analysis with all its parameters.
pub fn render_one(look: &Look, analysis: &Analysis) -> String {
    let title = format!("{}: {}", bare(analysis), analysis.title);
    let mut text = look.paint(Paint::Bold, &title) + "\n";
    text.push_str(&look.wrap("", &analysis.summary));
    let plays = if analysis.plays {
        "plays sound"
    } else {
        "plays nothing"
    };
    let from = format!("{plays}; from {}", analysis.plugin);
    text.push_str(&look.paint(Paint::Dim, &from));
    text.push('\n');
    if !analysis.parameters.is_empty() {
        text.push_str(&parameters(look, analysis));
    }
    if !analysis.figures.is_empty() {
        text.push_str(&figures(look, analysis));
    }
    if !analysis.curves.is_empty() {
        text.push_str(&curves(look, analysis));
    }
    text
}

/// What can be set.
fn parameters(look: &Look, analysis: &Analysis) -> String {
    let mut table = Table::new([
        ("parameter", Side::Left),
        ("unit", Side::Left),
        ("default", Side::Short),
        ("bounds", Side::Short),
    ]);
    for parameter in &analysis.parameters {
        table.row([
            parameter.id.clone(),
            parameter.unit.clone(),
            default(parameter.default_value.as_ref()),
            bounds(parameter),
        ]);
    }
    let mut text = format!("\n{}\n", table.render(look));
    for parameter in &analysis.parameters {
        text.push_str(&look.wrap(&format!("  {}: ", parameter.id), &parameter.text));
    }
    text
}

/// What a result can hold and limits can name.
fn figures(look: &Look, analysis: &Analysis) -> String {
    let mut table = Table::new([
        ("figure", Side::Left),
        ("unit", Side::Left),
        ("at", Side::Short),
    ]);
    for figure in &analysis.figures {
        let id = figure.id.clone();
        table.row([id, figure.unit.clone(), figure.at.join(", ")]);
    }
    format!("\n{}", table.render(look))
}

/// The series that a result can hold.
fn curves(look: &Look, analysis: &Analysis) -> String {
    let mut table = Table::new([
        ("curve", Side::Left),
        ("over", Side::Left),
        ("unit", Side::Left),
        ("at", Side::Short),
    ]);
    for curve in &analysis.curves {
        table.row([
            curve.id.clone(),
            curve.x_unit.clone(),
            curve.y_unit.clone(),
            curve.at.join(", "),
        ]);
    }
    format!("\n{}", table.render(look))
}

fn bare(analysis: &Analysis) -> &str {
    analysis.name.trim_start_matches("analyses/")
}

/// The value as it would be written behind `--set`.
pub fn default(value: Option<&Value>) -> String {
    match value.and_then(|value| value.kind.as_ref()) {
        None | Some(value::Kind::NullValue(_)) => String::new(),
        Some(value::Kind::NumberValue(number)) => number::plain(*number),
        Some(value::Kind::StringValue(text)) => text.clone(),
        Some(value::Kind::BoolValue(switch)) => switch.to_string(),
        Some(value::Kind::ListValue(list)) => {
            let values: Vec<_> = list
                .values
                .iter()
                .map(|value| default(Some(value)))
                .collect();
            values.join(",")
        }
        Some(value::Kind::StructValue(_)) => "(structure)".into(),
    }
}

fn bounds(parameter: &Parameter) -> String {
    let end = |value: Option<f64>| value.map(number::plain);
    let range = match (end(parameter.min), end(parameter.max)) {
        (Some(min), Some(max)) => format!("{min} to {max}"),
        (Some(min), None) => format!("from {min}"),
        (None, Some(max)) => format!("up to {max}"),
        (None, None) => String::new(),
    };
    match parameter.kind() {
        Kind::Choice => parameter.choices.join(", "),
        Kind::Switch => "true, false".into(),
        Kind::Whole => format!("{range} (whole)"),
        Kind::Numbers if parameter.rising => format!("{range} each, rising"),
        Kind::Numbers => format!("{range} each"),
        Kind::Number | Kind::Unspecified => range,
    }
    .trim()
    .to_owned()
}

#[cfg(test)]
mod tests {
    use goodwire_proto::v1::{CurveDescription, FigureDescription};

    use super::*;

    const LOOK: Look = Look {
        width: 60,
        unicode: true,
        colour: false,
    };

    fn response() -> Analysis {
        let number = |number| {
            Some(Value {
                kind: Some(value::Kind::NumberValue(number)),
            })
        };
        let mut start = Parameter {
            id: "start_hz".into(),
            unit: "Hz".into(),
            text: "Where the sweep begins.".into(),
            default_value: number(20.0),
            min: Some(5.0),
            max: Some(20_000.0),
            ..Parameter::default()
        };
        start.set_kind(Kind::Number);
        let mut repeats = Parameter {
            id: "repeats".into(),
            text: "How often it is played.".into(),
            default_value: number(1.0),
            min: Some(1.0),
            ..Parameter::default()
        };
        repeats.set_kind(Kind::Whole);
        Analysis {
            name: "analyses/response".into(),
            title: "Frequency response".into(),
            summary: "How the link changes level and phase over frequency.".into(),
            plugin: "response 0.1.0".into(),
            parameters: vec![start, repeats],
            plays: true,
            figures: vec![FigureDescription {
                id: "deviation".into(),
                unit: "dB".into(),
                at: vec!["from_hz".into(), "to_hz".into()],
            }],
            curves: vec![CurveDescription {
                id: "magnitude".into(),
                x_unit: "Hz".into(),
                y_unit: "dB".into(),
                at: Vec::new(),
            }],
        }
    }

    #[test]
    fn parameters_figures_and_curves_show_units_defaults_and_bounds() {
        assert_eq!(
            render_one(&LOOK, &response()),
            "\
response: Frequency response
How the link changes level and phase over frequency.
plays sound; from response 0.1.0

  parameter  unit  default  bounds
  start_hz   Hz    20       5 to 20000
  repeats          1        from 1 (whole)

  start_hz: Where the sweep begins.
  repeats: How often it is played.

  figure     unit  at
  deviation  dB    from_hz, to_hz

  curve      over  unit
  magnitude  Hz    dB
"
        );
    }

    #[test]
    fn all_analyses_are_told_in_a_sentence_each() {
        let text = render(&LOOK, &[response()]);
        assert!(text.starts_with(
            "  response  How the link changes level and phase over\n            frequency.\n"
        ));
        assert!(render(&LOOK, &[]).contains("no plugin"));
    }
}
