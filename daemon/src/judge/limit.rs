//! One limit, held against the figures or curves that it is meant for.

use goodwire_proto::v1::{
    Figure, Judgement, Limit, MaskPoint, Measurement, measurement::State, verdict::Outcome,
};

use super::{
    curve, drift,
    interval::{Interval, Standing},
    place, words, worse,
};
use crate::config::{CurveLimit, LimitConfig};

/// What one part of a limit says, with the sentence.
pub(super) type Said = (Outcome, String);

/// False for a limit that has nothing to compare with: drift alone, and no baseline is set.
pub(super) fn says_something(limit: &LimitConfig, baseline: Option<&Measurement>) -> bool {
    let has_mask = |curve: &CurveLimit| !(curve.upper.is_empty() && curve.lower.is_empty());
    limit.min.is_some()
        || limit.max.is_some()
        || limit.curve.as_ref().is_some_and(has_mask)
        || (limit.drift.is_some() && baseline.is_some())
}

/// One judgement for each figure or curve that the limit is meant for; one that says UNMEASURED where there
/// is none.
pub(super) fn judgements(
    limit: &LimitConfig,
    measurement: &Measurement,
    baseline: Option<&Measurement>,
) -> Vec<Judgement> {
    if measurement.state() != State::Succeeded {
        return vec![unmeasured(limit, no_result(measurement))];
    }
    if let Some(wanted) = &limit.curve {
        return curve::judgements(limit, wanted, measurement, baseline);
    }
    let judgements: Vec<Judgement> = measurement
        .figures
        .iter()
        .filter(|figure| figure.id == limit.figure && place::agrees(figure.at.as_ref(), &limit.at))
        .filter_map(|figure| of_figure(limit, figure, measurement, baseline))
        .collect();
    if judgements.is_empty() {
        let unclipped = above_what_was_reached(limit, measurement);
        return vec![unclipped.unwrap_or_else(|| unmeasured(limit, no_figure(limit, measurement)))];
    }
    judgements
}

/// A link that did not clip up to a level keeps every `min` of its clip and compression points
/// that is not above that level, though the points themselves could not be had.
fn above_what_was_reached(limit: &LimitConfig, measurement: &Measurement) -> Option<Judgement> {
    let (Some(min), None) = (limit.min, limit.max) else {
        return None;
    };
    if !matches!(limit.figure.as_str(), "clip_point" | "compression_point") {
        return None;
    }
    let mut figures = measurement.figures.iter();
    let reached = figures.find(|figure| figure.id == "unclipped_to")?;
    let reached_dbfs = reached.value.filter(|reached_dbfs| *reached_dbfs >= min)?;
    let text = format!(
        "{} lies above {}, the highest level that was reached; allowed is at least {}.",
        words::figure_name(&limit.figure),
        words::with_unit(&words::number(reached_dbfs), &reached.unit),
        words::with_unit(&words::number(min), &reached.unit)
    );
    Some(Judgement {
        outcome: Outcome::Pass.into(),
        at: place::to_struct(&limit.at),
        text,
        unit: reached.unit.clone(),
        ..numbers(limit)
    })
}

fn of_figure(
    limit: &LimitConfig,
    figure: &Figure,
    measurement: &Measurement,
    baseline: Option<&Measurement>,
) -> Option<Judgement> {
    let interval = Interval::of(figure)?;
    let bounds = against_bounds(limit, figure, &interval);
    let moved = limit.drift.zip(baseline).map(|(allowed, baseline)| {
        drift::against_baseline(allowed, figure, &interval, measurement, baseline)
    });
    let (outcome, text) = [bounds, moved]
        .into_iter()
        .flatten()
        .reduce(|(a, first), (b, second)| (worse(a, b), format!("{first} {second}")))?;
    let before = baseline.filter(|_| limit.drift.is_some());
    let before = before.and_then(|baseline| place::counterpart(figure, &baseline.figures));
    Some(Judgement {
        outcome: outcome.into(),
        text,
        value: figure.value,
        uncertainty: figure.uncertainty,
        unit: figure.unit.clone(),
        at: figure.at.clone(),
        baseline_value: before.and_then(|before| before.value),
        ..numbers(limit)
    })
}

/// What is held against whichever figure or curve.
pub(super) fn numbers(limit: &LimitConfig) -> Judgement {
    Judgement {
        figure: limit.figure.clone(),
        curve: curve_id(limit),
        re: re_id(limit),
        min: limit.min,
        max: limit.max,
        drift: limit.drift,
        ..Default::default()
    }
}

fn curve_id(limit: &LimitConfig) -> String {
    let curve = limit.curve.as_ref();
    curve.map_or_else(String::new, |curve| curve.id.clone())
}

fn re_id(limit: &LimitConfig) -> String {
    let curve = limit.curve.as_ref();
    curve.and_then(|curve| curve.re.clone()).unwrap_or_default()
}

/// What `min` and `max` say; `None` where the limit has neither.
fn against_bounds(limit: &LimitConfig, figure: &Figure, interval: &Interval) -> Option<Said> {
    let unit = figure.unit.as_str();
    let name = words::figure_in_words(figure);
    let is = format!("{name} is {}", words::interval(interval, unit));
    let shown = |limit: f64| words::with_unit(&words::number(limit), unit);
    let allowed = match (limit.min, limit.max) {
        (Some(min), Some(max)) => format!("{} to {}", words::number(min), shown(max)),
        (Some(min), None) => format!("at least {}", shown(min)),
        (None, Some(max)) => format!("at most {}", shown(max)),
        (None, None) => return None,
    };
    Some(match interval.against(limit.min, limit.max) {
        Standing::Inside => (Outcome::Pass, format!("{is}; allowed is {allowed}.")),
        Standing::Outside => {
            let text = match limit.min.filter(|min| interval.high < *min) {
                Some(min) => format!("{is}, below the limit of {}.", shown(min)),
                None => format!(
                    "{is}, above the limit of {}.",
                    limit.max.map_or(String::new(), shown)
                ),
            };
            (Outcome::Fail, text)
        }
        Standing::Across => (
            Outcome::Unmeasured,
            format!("{is}: too uncertain to tell; allowed is {allowed}."),
        ),
    })
}

pub(super) fn unmeasured(limit: &LimitConfig, text: String) -> Judgement {
    Judgement {
        outcome: Outcome::Unmeasured.into(),
        at: place::to_struct(&limit.at),
        text,
        ..numbers(limit)
    }
}

fn no_result(measurement: &Measurement) -> String {
    let ended = if measurement.state() == State::Failed {
        "failed"
    } else {
        "was cancelled"
    };
    match measurement
        .reason
        .as_ref()
        .filter(|reason| !reason.text.is_empty())
    {
        Some(reason) => format!("The measurement {ended}: {}", reason.text),
        None => format!("The measurement {ended}."),
    }
}

/// That a figure or curve is absent; with the note that says why, where there is one.
pub(super) fn no_figure(limit: &LimitConfig, measurement: &Measurement) -> String {
    let place = place::in_words(place::to_struct(&limit.at).as_ref());
    let text = format!(
        "{}{place} could not be had.",
        words::figure_name(limit.subject())
    );
    let why = format!("no-{}", limit.subject().replace('_', "-"));
    match measurement.notes.iter().find(|note| note.id == why) {
        Some(note) => format!("{text} {}", note.text),
        None => text,
    }
}

impl From<&LimitConfig> for Limit {
    fn from(limit: &LimitConfig) -> Self {
        let range = limit.curve.as_ref().and_then(|curve| curve.drift_range);
        Self {
            link: limit
                .link
                .as_ref()
                .map_or(String::new(), |name| format!("links/{name}")),
            analysis: limit.analysis.clone(),
            figure: limit.figure.clone(),
            at: place::to_struct(&limit.at),
            min: limit.min,
            max: limit.max,
            drift: limit.drift,
            group: limit
                .group
                .as_ref()
                .map_or(String::new(), |group| group.name.clone()),
            curve: curve_id(limit),
            upper: limit.curve.as_ref().map_or(Vec::new(), |c| mask(&c.upper)),
            lower: limit.curve.as_ref().map_or(Vec::new(), |c| mask(&c.lower)),
            re: re_id(limit),
            horizon_weeks: limit.horizon_weeks,
            drift_from: range.map(|[from, _]| from),
            drift_to: range.map(|[_, to]| to),
        }
    }
}

fn mask(corners: &[[f64; 2]]) -> Vec<MaskPoint> {
    let point = |&[x, y]: &[f64; 2]| MaskPoint {
        x: Some(x),
        y: Some(y),
    };
    corners.iter().map(point).collect()
}
