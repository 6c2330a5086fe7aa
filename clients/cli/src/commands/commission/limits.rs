//! Limits from what was measured plus the usual margins. The margins are common practice, no
//! source: wide enough for temperature and batteries, narrow enough to hear of a knob.

use std::fmt::Write;

use goodwire_proto::v1::{Figure, Measurement, measurement::State};
use prost_types::value::Kind;

/// How a limit follows from a figure.
enum Margin {
    /// So much to either side, in the figure's unit, and the same as drift.
    Either(f64),
    /// No more than so much above it, but at least this.
    Above(f64, f64),
    /// No less than so much below it.
    Below(f64),
    /// No more than so many times as much, but at least this.
    Times(f64, f64),
    /// No less than this part of it.
    Part(f64),
    /// The sign stays.
    Sign,
}

/// Analysis, figure, margin.
const RULES: [(&str, &str, Margin); 12] = [
    ("level", "gain", Margin::Either(1.0)),
    ("level", "clip_point", Margin::Below(2.0)),
    ("level", "polarity", Margin::Sign),
    ("response", "deviation", Margin::Either(1.5)),
    ("response", "corner_low", Margin::Times(1.25, 0.0)),
    ("response", "corner_high", Margin::Part(0.85)),
    ("latency", "latency", Margin::Either(1.0)),
    ("latency", "jitter", Margin::Above(0.2, 0.5)),
    ("noise", "noise_a", Margin::Above(6.0, -200.0)),
    ("noise", "noise_468", Margin::Above(6.0, -200.0)),
    ("distortion", "thd", Margin::Times(2.0, 0.1)),
    ("distortion", "thd_n", Margin::Times(2.0, 0.1)),
];

/// The limits as the configuration has them.
pub fn propose(link: &str, measured: &[Measurement]) -> String {
    let mut text = String::new();
    for (analysis, id, margin) in &RULES {
        let done = measured
            .iter()
            .filter(|one| one.state() == State::Succeeded);
        let of_analysis = done.filter(|one| one.analysis == *analysis);
        for figure in of_analysis.flat_map(|one| &one.figures) {
            if let Some(value) = figure.value.filter(|_| figure.id == *id) {
                write_limit(&mut text, link, analysis, figure, &margin.keys(value));
            }
        }
    }
    text
}

impl Margin {
    /// The keys of the limit with their values.
    fn keys(&self, value: f64) -> Vec<(&'static str, f64)> {
        match *self {
            Self::Either(by) => vec![("min", value - by), ("max", value + by), ("drift", by)],
            Self::Above(by, least) => vec![("max", (value + by).max(least))],
            Self::Below(by) => vec![("min", value - by)],
            Self::Times(times, least) => vec![("max", (value * times).max(least))],
            Self::Part(part) => vec![("min", value * part)],
            Self::Sign if value < 0.0 => vec![("max", 0.0)],
            Self::Sign => vec![("min", 0.0)],
        }
    }
}

fn write_limit(
    text: &mut String,
    link: &str,
    analysis: &str,
    figure: &Figure,
    keys: &[(&str, f64)],
) {
    let infallible = "writing to a string does not fail";
    let id = &figure.id;
    write!(
        text,
        "[[limit]]\nlink = \"{link}\"\nanalysis = \"{analysis}\"\nfigure = \"{id}\"\n"
    )
    .expect(infallible);
    let place = place_of(figure);
    if !place.is_empty() {
        writeln!(text, "at = {{ {} }}", place.join(", ")).expect(infallible);
    }
    for (key, value) in keys {
        writeln!(text, "{key} = {}", rounded(*value)).expect(infallible);
    }
    text.push('\n');
}

/// What was asked for: a limit holds at the band or the test frequency, wherever in it the figure
/// was found. The level follows the clip point, which no two measurements find alike to the last
/// digit.
fn place_of(figure: &Figure) -> Vec<String> {
    let fields = figure.at.iter().flat_map(|at| &at.fields);
    let is_found_in_a_band = |key: &str| {
        let at = figure.at.as_ref();
        key == "frequency_hz" && at.is_some_and(|at| at.fields.contains_key("from_hz"))
    };
    fields
        .filter(|(key, _)| !is_found_in_a_band(key) && *key != "level_dbfs")
        .filter_map(|(key, value)| match &value.kind {
            Some(Kind::NumberValue(number)) => Some(format!("{key} = {number}")),
            Some(Kind::StringValue(text)) => Some(format!("{key} = {text:?}")),
            _ => None,
        })
        .collect()
}

/// Four significant digits: a limit is no measurement.
fn rounded(value: f64) -> f64 {
    if value == 0.0 {
        return 0.0;
    }
    let digits = 3 - value.abs().log10().floor() as i32;
    let scale = 10_f64.powi(digits);
    (value * scale).round() / scale
}

#[cfg(test)]
mod tests {
    use super::*;
    use prost_types::{Struct, Value};

    fn measured(analysis: &str, id: &str, value: f64, at: &[(&str, f64)]) -> Measurement {
        let number = |(key, value): &(&str, f64)| {
            let kind = Some(Kind::NumberValue(*value));
            ((*key).to_owned(), Value { kind })
        };
        Measurement {
            analysis: analysis.into(),
            state: State::Succeeded.into(),
            figures: vec![Figure {
                id: id.into(),
                value: Some(value),
                at: (!at.is_empty()).then(|| Struct {
                    fields: at.iter().map(number).collect(),
                }),
                ..Figure::default()
            }],
            ..Measurement::default()
        }
    }

    #[test]
    fn a_gain_of_minus_3_db_may_be_from_minus_4_to_minus_2() {
        let text = propose("lectern", &[measured("level", "gain", -3.0, &[])]);
        assert_eq!(
            text,
            "[[limit]]\nlink = \"lectern\"\nanalysis = \"level\"\nfigure = \"gain\"\n\
             min = -4\nmax = -2\ndrift = 1\n\n"
        );
    }

    #[test]
    fn a_deviation_is_limited_in_its_band_wherever_it_was_found() {
        let at = [("from_hz", 20.0), ("to_hz", 63.0), ("frequency_hz", 24.1)];
        let text = propose("lectern", &[measured("response", "deviation", 0.5, &at)]);
        assert!(text.contains("at = { from_hz = 20, to_hz = 63 }"), "{text}");
    }

    #[test]
    fn a_tiny_distortion_may_grow_to_a_tenth_of_a_percent() {
        let at = [("frequency_hz", 997.0)];
        let text = propose("lectern", &[measured("distortion", "thd", 0.004, &at)]);
        assert!(
            text.contains("max = 0.1\n") && text.contains("frequency_hz = 997"),
            "{text}"
        );
    }

    #[test]
    fn an_inverted_link_stays_inverted() {
        let text = propose("lectern", &[measured("level", "polarity", -1.0, &[])]);
        assert!(text.contains("max = 0\n"), "{text}");
    }
}
