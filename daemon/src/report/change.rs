//! What has changed since a measurement before, or since the baseline.

use goodwire_proto::v1::{Figure, Measurement};

use super::{
    Subject, Zone,
    html::{Safe, list},
    words,
};
use crate::judge::{drift, interval::Interval, place, words as numbers};

/// Largest changes that a sentence names; the table has them all.
const NAMED_MAX: usize = 3;

/// How far a figure has moved from its counterpart: the text, and whether by more than the
/// uncertainty of the change (coverage 2). `None` where there is no counterpart.
pub(super) fn of_figure(figure: &Figure, other: Option<&Measurement>) -> Option<(String, bool)> {
    let before = place::counterpart(figure, &other?.figures)?;
    let change = Interval::of(figure)?.change_from(&Interval::of(before)?);
    let has_moved = change.low > 0.0 || change.high < 0.0;
    let sign = if change.value > 0.0 { "+" } else { "" };
    let text = format!("{sign}{}", numbers::interval(&change, &figure.unit));
    Some((text, has_moved))
}

/// Sentences about last time and the baseline; empty where there is neither.
pub(super) fn sentences(subject: &Subject, zone: &Zone) -> String {
    let Subject {
        measurement,
        before,
        baseline,
        ..
    } = subject;
    let mut said = Vec::new();
    if let Some(before) = before {
        let name = format!("Since last time, {},", zone.time_of(before));
        said.push(sentence(&name, measurement, before));
    }
    if let Some(baseline) = baseline {
        let name = format!("Since the baseline of {}", zone.time_of(baseline));
        said.push(sentence(&name, measurement, baseline));
    }
    list("changes", &said)
}

fn sentence(since: &str, measurement: &Measurement, other: &Measurement) -> String {
    let differences = drift::setup_differences([measurement, other]);
    let setup = match differences.is_empty() {
        true => String::new(),
        false => format!(" The setup differs in {}.", differences.join(", ")),
    };
    let figures = measurement.figures.iter();
    let compared: Vec<_> = figures
        .filter_map(|figure| Some((figure, of_figure(figure, Some(other))?)))
        .collect();
    let moved: Vec<String> = compared
        .iter()
        .filter(|(_, (_, has_moved))| *has_moved)
        .map(|(figure, (change, _))| {
            format!("{} by {change}", lower(&numbers::figure_in_words(figure)))
        })
        .collect();
    let what = if compared.is_empty() {
        "no figure can be compared".to_owned()
    } else if moved.is_empty() {
        let count = words::counted(compared.len(), "figure");
        format!("nothing has moved by more than its uncertainty ({count} compared)")
    } else {
        told(&moved, compared.len())
    };
    Safe(&format!("{since} {what}.{setup}")).to_string()
}

fn told(moved: &[String], compared: usize) -> String {
    let named: Vec<&str> = moved.iter().take(NAMED_MAX).map(String::as_str).collect();
    let (verb, more) = match moved.len() {
        1 => ("has", String::new()),
        count if count > NAMED_MAX => (
            "have",
            format!("; {} more are in the table", count - NAMED_MAX),
        ),
        _ => ("have", String::new()),
    };
    format!(
        "{} of {} {verb} moved by more than the uncertainty: {}{more}",
        moved.len(),
        words::counted(compared, "figure"),
        words::joined(&named),
    )
}

/// The first letter in lower case, but for abbreviations.
fn lower(text: &str) -> String {
    let mut characters = text.chars();
    match (characters.next(), characters.next()) {
        (Some(first), Some(second)) if second.is_lowercase() => {
            first.to_lowercase().chain(text.chars().skip(1)).collect()
        }
        _ => text.to_owned(),
    }
}
