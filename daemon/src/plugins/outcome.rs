//! What a plugin hands out is checked, not believed. Every check gives the first thing that is
//! wrong, in words.

mod channel_plan;

use std::collections::HashSet;

use goodwire_proto::{
    plugin::v1::{
        Plan, SessionResult, Sound, Step, plan::capture::Kind as CaptureKind, step::Loss,
    },
    v1::{Curve, Event, Figure, Note, note},
};
use prost::Message;
use prost_types::{Struct, value::Kind};

use super::{
    waveform::PEAK_TOLERANCE_DB,
    words::{is_kebab_case, is_snake_case},
};

/// Most figures, events or notes of one result.
const ITEM_COUNT_MAX: usize = 10_000;
/// Most curves of one result.
const CURVE_COUNT_MAX: usize = 256;
/// Most points of all curves together.
const POINT_COUNT_MAX: usize = 1_000_000;
/// Most steps of a plan.
const STEP_COUNT_MAX: usize = 10_000;
/// Most repeats of a step.
const REPEAT_COUNT_MAX: i32 = 10_000;
/// Most sounds of one result.
const SOUND_COUNT_MAX: usize = 8;
/// Most samples of all sounds together.
const SAMPLE_COUNT_MAX: usize = 1 << 22;
/// Rates that a sound may have, in Hz.
const SOUND_RATES_HZ: std::ops::RangeInclusive<i32> = 8_000..=768_000;
/// Most bytes of a text.
const TEXT_BYTES_MAX: usize = 4_000;
/// Most names in an `at`.
pub(super) const AT_COUNT_MAX: usize = 32;

/// Units of figures and curves; empty for counts and signs.
const UNITS: [&str; 16] = [
    "", "dB", "dBFS", "dBu", "Hz", "MHz", "%", "s", "ms", "µs", "m", "ppm", "degree", "V", "1/min",
    "frames",
];

/// What is wrong, in words.
type Wrong = String;

/// Checks a plan against what may be played.
pub(super) fn check_plan(
    plan: &Plan,
    ceiling_dbfs: f64,
    other_links: &[String],
) -> Result<(), Wrong> {
    let mut channels = HashSet::new();
    for capture in &plan.captures {
        let known = match capture.kind() {
            CaptureKind::Unspecified => false,
            CaptureKind::Other => other_links.contains(&capture.link),
            CaptureKind::Link | CaptureKind::Reference | CaptureKind::Played => true,
        };
        if !known || !channels.insert((capture.kind, &capture.link)) {
            return Err("its plan captures an unknown channel, or one twice".into());
        }
    }
    if plan.steps.len() > STEP_COUNT_MAX {
        return Err(format!("its plan has {} steps", plan.steps.len()));
    }
    if is_open_ended(plan) && plan.steps.len() > 1 {
        return Err("its plan has a step without an end, and others".into());
    }
    for (number, step) in plan.steps.iter().enumerate() {
        check_step(step, ceiling_dbfs)
            .map_err(|wrong| format!("step {number} of its plan {wrong}"))?;
    }
    Ok(())
}

/// True for the plan of a watch: one step without an end.
#[must_use]
pub fn is_open_ended(plan: &Plan) -> bool {
    plan.steps.iter().any(|step| step.frame_count == 0)
}

fn check_step(step: &Step, ceiling_dbfs: f64) -> Result<(), Wrong> {
    let has_end = step.frame_count != 0;
    if !has_end && (step.tail_frame_count, step.repeat_count) != (0, 1) {
        return Err("has no end, and yet a tail or repeats".into());
    }
    if has_end == (step.loss() == Loss::Cut) {
        return Err("does not go on after lost frames though it has no end, or the reverse".into());
    }
    if step.frame_count < 0 || step.tail_frame_count < 0 {
        return Err("has a negative length".into());
    }
    if !(1..=REPEAT_COUNT_MAX).contains(&step.repeat_count) {
        return Err(format!("is to be played {} times", step.repeat_count));
    }
    if step.loss() == Loss::Unspecified {
        return Err("does not say what a lost frame means".into());
    }
    // Minus infinity is the peak of silence.
    if step.peak_dbfs.is_nan() || step.peak_dbfs > ceiling_dbfs + PEAK_TOLERANCE_DB {
        let peak_dbfs = step.peak_dbfs;
        return Err(format!(
            "declares a peak of {peak_dbfs:.2} dBFS where {ceiling_dbfs:.2} dBFS is allowed"
        ));
    }
    Ok(())
}

/// Checks a whole result.
pub fn check_result(result: &SessionResult) -> Result<(), Wrong> {
    check_figures(&result.figures)?;
    check_curves(&result.curves)?;
    check_count("events", result.events.len(), ITEM_COUNT_MAX)?;
    result.events.iter().try_for_each(check_event)?;
    check_count("notes", result.notes.len(), ITEM_COUNT_MAX)?;
    result.notes.iter().try_for_each(check_note)?;
    check_sounds(&result.sounds)?;
    let mut plans = result.channel_plan.iter();
    plans.try_for_each(channel_plan::check)
}

fn check_sounds(sounds: &[Sound]) -> Result<(), Wrong> {
    check_count("sounds", sounds.len(), SOUND_COUNT_MAX)?;
    let sample_count = sounds.iter().map(|sound| sound.samples.len()).sum();
    check_count("samples in its sounds", sample_count, SAMPLE_COUNT_MAX)?;
    let mut seen = HashSet::new();
    for sound in sounds {
        let name = id_for_people(&sound.id);
        if !is_snake_case(&sound.id) {
            return Err(format!("its sound {name} is not named in snake_case"));
        }
        if !seen.insert(&sound.id) {
            return Err(format!("its sound {name} is there twice"));
        }
        if !SOUND_RATES_HZ.contains(&sound.rate_hz) {
            return Err(format!("its sound {name} has {} Hz", sound.rate_hz));
        }
        if !sound.samples.iter().all(|sample| sample.is_finite()) {
            return Err(format!(
                "its sound {name} holds a sample that is not finite"
            ));
        }
    }
    Ok(())
}

/// Puts events in order of time; those without a time first.
pub(super) fn sort_events(result: &mut SessionResult) {
    let start_s = |event: &Event| event.start_s.unwrap_or(f64::NEG_INFINITY);
    result
        .events
        .sort_by(|a, b| start_s(a).total_cmp(&start_s(b)));
}

/// Checks figures: each has a finite value, and none stands there twice.
pub(super) fn check_figures(figures: &[Figure]) -> Result<(), Wrong> {
    check_count("figures", figures.len(), ITEM_COUNT_MAX)?;
    let mut seen = HashSet::new();
    for figure in figures {
        let name = id_for_people(&figure.id);
        if !is_snake_case(&figure.id) {
            return Err(format!("its figure {name} is not named in snake_case"));
        }
        check_figure(figure).map_err(|wrong| format!("its figure {name} {wrong}"))?;
        if !seen.insert((&figure.id, key(figure.at.as_ref()))) {
            return Err(format!("its figure {name} is there twice"));
        }
    }
    Ok(())
}

fn check_figure(figure: &Figure) -> Result<(), Wrong> {
    let value = figure.value.ok_or("has no value")?;
    let numbers = [Some(value), figure.uncertainty, figure.low, figure.high];
    if numbers.iter().flatten().any(|number| !number.is_finite()) {
        return Err("holds a number that is not finite".into());
    }
    if figure
        .uncertainty
        .is_some_and(|uncertainty| uncertainty < 0.0)
    {
        return Err("has a negative uncertainty".into());
    }
    let (low, high) = (figure.low.unwrap_or(value), figure.high.unwrap_or(value));
    if low > value || high < value {
        return Err(format!(
            "has the value {value} outside its own interval {low} to {high}"
        ));
    }
    check_unit(&figure.unit)?;
    check_at(figure.at.as_ref())
}

fn check_curves(curves: &[Curve]) -> Result<(), Wrong> {
    check_count("curves", curves.len(), CURVE_COUNT_MAX)?;
    let point_count = curves.iter().map(|curve| curve.x.len()).sum();
    check_count("points in its curves", point_count, POINT_COUNT_MAX)?;
    let mut seen = HashSet::new();
    for curve in curves {
        let name = id_for_people(&curve.id);
        if !is_snake_case(&curve.id) {
            return Err(format!("its curve {name} is not named in snake_case"));
        }
        check_curve(curve).map_err(|wrong| format!("its curve {name} {wrong}"))?;
        if !seen.insert((&curve.id, key(curve.at.as_ref()))) {
            return Err(format!("its curve {name} is there twice"));
        }
    }
    Ok(())
}

fn check_curve(curve: &Curve) -> Result<(), Wrong> {
    let (x_count, y_count) = (curve.x.len(), curve.y.len());
    if x_count != y_count {
        return Err(format!("has {x_count} places and {y_count} values"));
    }
    let uncertainty_count = curve.y_uncertainty.len();
    if uncertainty_count != 0 && uncertainty_count != y_count {
        return Err(format!(
            "has {y_count} values and {uncertainty_count} uncertainties"
        ));
    }
    let mut numbers = curve.x.iter().chain(&curve.y).chain(&curve.y_uncertainty);
    if numbers.any(|number| !number.is_finite()) {
        return Err("holds a number that is not finite".into());
    }
    if curve
        .y_uncertainty
        .iter()
        .any(|&uncertainty| uncertainty < 0.0)
    {
        return Err("has a negative uncertainty".into());
    }
    if let Some(pair) = curve.x.windows(2).find(|pair| pair[0] >= pair[1]) {
        return Err(format!("does not rise from {} to {}", pair[0], pair[1]));
    }
    check_unit(&curve.x_unit)?;
    check_unit(&curve.y_unit)?;
    check_at(curve.at.as_ref())
}

fn check_event(event: &Event) -> Result<(), Wrong> {
    let name = id_for_people(&event.id);
    if !is_kebab_case(&event.id) {
        return Err(format!("its event {name} is not named in kebab-case"));
    }
    let times = [event.start_s, event.duration_s];
    if times.iter().flatten().any(|time| !time.is_finite())
        || event.duration_s.is_some_and(|duration_s| duration_s < 0.0)
    {
        return Err(format!("its event {name} has an impossible time"));
    }
    check_text(&event.text)?;
    check_at(event.at.as_ref()).map_err(|wrong| format!("its event {name} {wrong}"))
}

fn check_note(one: &Note) -> Result<(), Wrong> {
    let name = id_for_people(&one.id);
    if !is_kebab_case(&one.id) {
        return Err(format!("its note {name} is not named in kebab-case"));
    }
    if one.level() == note::Level::Unspecified {
        return Err(format!("its note {name} does not say how much it matters"));
    }
    check_text(&one.text)
}

fn check_count(what: &str, count: usize, most: usize) -> Result<(), Wrong> {
    match count <= most {
        true => Ok(()),
        false => Err(format!(
            "its answer holds {count} {what}; {most} is the most"
        )),
    }
}

fn check_text(text: &str) -> Result<(), Wrong> {
    match text.len() <= TEXT_BYTES_MAX {
        true => Ok(()),
        false => Err(format!("its answer holds a text of {} bytes", text.len())),
    }
}

pub(super) fn check_unit(unit: &str) -> Result<(), Wrong> {
    match UNITS.contains(&unit) {
        true => Ok(()),
        false => Err(format!("has the unknown unit {}", id_for_people(unit))),
    }
}

/// An `at` holds finite numbers, words and switches under short names.
fn check_at(at: Option<&Struct>) -> Result<(), Wrong> {
    let Some(at) = at else { return Ok(()) };
    let is_fine = |kind: Option<&Kind>| match kind {
        Some(Kind::NumberValue(number)) => number.is_finite(),
        Some(Kind::StringValue(text)) => text.len() <= TEXT_BYTES_MAX,
        Some(Kind::BoolValue(_)) => true,
        _ => false,
    };
    if at.fields.len() > AT_COUNT_MAX {
        return Err(format!("is found at {} names", at.fields.len()));
    }
    for (name, value) in &at.fields {
        if !is_snake_case(name) || !is_fine(value.kind.as_ref()) {
            return Err(format!("is found at an impossible {}", id_for_people(name)));
        }
    }
    Ok(())
}

/// What tells two of one id apart: the bytes of `at`, whose names prost keeps in order.
fn key(at: Option<&Struct>) -> Vec<u8> {
    at.map(Message::encode_to_vec).unwrap_or_default()
}

/// An id that may be anything, short and in quotes.
fn id_for_people(id: &str) -> String {
    format!("{:?}", id.chars().take(40).collect::<String>())
}

#[cfg(test)]
#[path = "outcome/tests.rs"]
mod tests;
