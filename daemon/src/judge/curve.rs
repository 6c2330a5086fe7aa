//! One limit, held against whole curves: one judgement a curve, told of the point that is worst.
//!
//! Every point counts with twice its uncertainty. One that lies outside as a whole breaks the
//! limit. Where none does, one in whose interval the limit lies makes the curve UNMEASURED, as does
//! a stretch in which the curve has no points.

mod mask;
mod moves;

use goodwire_proto::v1::{Curve, Figure, Judgement, Measurement, verdict::Outcome};
use prost_types::{Struct, Value, value::Kind};

use super::{
    drift,
    interval::{Interval, Standing},
    limit,
    line::{Axis, hole},
    place, words, worse,
};
use crate::config::{CurveLimit, LimitConfig};

/// Significant digits of a place on the axis in a sentence.
const PLACE_DIGITS: i32 = 4;

/// One judgement for each curve that the limit is meant for; one that says UNMEASURED where there
/// is none.
pub(super) fn judgements(
    limit: &LimitConfig,
    wanted: &CurveLimit,
    measurement: &Measurement,
    baseline: Option<&Measurement>,
) -> Vec<Judgement> {
    let unmeasured = |text| vec![limit::unmeasured(limit, text)];
    let Some(re) = level_of(wanted, measurement) else {
        let re = words::figure_name(wanted.re.as_deref().unwrap_or_default());
        let text = format!("{re}, which the curve is judged relative to, could not be had.");
        return unmeasured(text);
    };
    let judgements: Vec<Judgement> = measurement
        .curves
        .iter()
        .filter(|curve| curve.id == wanted.id && place::agrees(curve.at.as_ref(), &limit.at))
        .filter_map(|curve| of_curve(limit, wanted, (curve, re), (measurement, baseline)))
        .collect();
    match judgements.is_empty() {
        true => unmeasured(limit::no_figure(limit, measurement)),
        false => judgements,
    }
}

/// What is subtracted from a measurement's curve; `None` where the figure is not there.
///
/// Its uncertainty is not counted: what is common to a measurement's gain and its curve, such as a
/// return's knob, cancels, as it does in `deviation`.
pub(crate) fn level_of(wanted: &CurveLimit, measurement: &Measurement) -> Option<f64> {
    let Some(id) = &wanted.re else {
        return Some(0.0);
    };
    let is_wanted = |figure: &&Figure| figure.id == *id;
    let figure = measurement.figures.iter().find(is_wanted)?;
    figure.value.filter(|value| value.is_finite())
}

fn of_curve(
    limit: &LimitConfig,
    wanted: &CurveLimit,
    (curve, re): (&Curve, f64),
    (measurement, baseline): (&Measurement, Option<&Measurement>),
) -> Option<Judgement> {
    let points = Points::new(wanted, curve, re);
    let masked = mask::held(wanted, &points);
    let moved = limit.drift.zip(baseline).map(|(allowed, baseline)| {
        let said = drift::other_setup(&points.name, measurement, baseline);
        said.map_or_else(
            || moves::held(allowed, wanted, &points, baseline),
            |(outcome, text)| Held::without_place(outcome, text),
        )
    });
    let held = [masked, moved].into_iter().flatten();
    let held = held.reduce(|a, b| Held {
        text: format!("{} {}", a.text, b.text),
        outcome: worse(a.outcome, b.outcome),
        // The place of whichever is worse; of the mask where both are alike.
        worst: match worse(a.outcome, b.outcome) == a.outcome && a.worst.is_some() {
            true => a.worst,
            false => b.worst,
        },
    })?;
    let mut judgement = Judgement {
        outcome: held.outcome.into(),
        text: held.text,
        unit: curve.y_unit.clone(),
        at: curve.at.clone(),
        ..limit::numbers(limit)
    };
    if let Some(worst) = held.worst {
        judgement.at = Some(points.at(&worst));
        judgement.value = Some(worst.interval.value);
        judgement.uncertainty = Some((worst.interval.high - worst.interval.value) / 2.0);
        (judgement.min, judgement.max) = worst.allowed.map_or((None, None), |[min, max]| {
            (
                min.is_finite().then_some(min),
                max.is_finite().then_some(max),
            )
        });
        judgement.baseline_value = worst.before;
    }
    Some(judgement)
}

/// A curve as it is judged.
struct Points<'a> {
    curve: &'a Curve,
    /// What is subtracted from it.
    re: f64,
    axis: Axis,
    /// How sentences call it.
    name: String,
}

/// What one part of a limit says of a curve.
struct Held {
    outcome: Outcome,
    text: String,
    worst: Option<Worst>,
}

impl Held {
    fn without_place(outcome: Outcome, text: String) -> Self {
        Self {
            outcome,
            text,
            worst: None,
        }
    }
}

/// One point of a curve against what it must satisfy.
#[derive(Debug, Clone, Copy)]
struct Worst {
    x: f64,
    interval: Interval,
    standing: Standing,
    /// How far beyond what is allowed the value lies; negative within.
    excess: f64,
    /// The least and the most that a mask allows here, infinite where it allows everything.
    allowed: Option<[f64; 2]>,
    /// The value in the baseline, where it is compared with one.
    before: Option<f64>,
}

impl Points<'_> {
    fn new<'a>(wanted: &CurveLimit, curve: &'a Curve, re: f64) -> Points<'a> {
        let place = place::in_words(curve.at.as_ref());
        let relative = wanted.re.as_ref();
        let relative = relative.map_or(String::new(), |id| {
            format!(" re {}", words::figure_name(id).to_lowercase())
        });
        Points {
            curve,
            re,
            axis: Axis::of(&curve.x_unit),
            name: format!("{}{place}{relative}", words::figure_name(&curve.id)),
        }
    }

    /// Every point: x and where its value lies.
    fn all(&self) -> impl Iterator<Item = (f64, Interval)> {
        let uncertainty = |index| self.curve.y_uncertainty.get(index).copied();
        let points = self.curve.x.iter().zip(&self.curve.y).enumerate();
        points.map(move |(index, (x, y))| {
            let uncertainty = uncertainty(index).unwrap_or_default();
            (*x, Interval::around(y - self.re, uncertainty))
        })
    }

    fn shown_x(&self, x: f64) -> String {
        words::with_unit(&words::rounded(x, PLACE_DIGITS), &self.curve.x_unit)
    }

    fn shown(&self, y: f64) -> String {
        words::with_unit(&words::rounded(y, PLACE_DIGITS), &self.curve.y_unit)
    }

    /// The curve's own place with that of a point.
    fn at(&self, worst: &Worst) -> Struct {
        let key = match self.curve.x_unit.as_str() {
            "Hz" => "frequency_hz",
            "s" => "time_s",
            "dBFS" => "level_dbfs",
            _ => "x",
        };
        let mut at = self.curve.at.clone().unwrap_or_default();
        let kind = Some(Kind::NumberValue(worst.x));
        at.fields.insert(key.to_owned(), Value { kind });
        at
    }

    /// That the curve has no points in a stretch; `None` where it has them from end to end.
    fn unmeasured(&self, x: &[f64], [from, to]: [f64; 2], whose: &str) -> Option<String> {
        let [from, to] = hole(self.axis, x, [from, to])?;
        let (from, to) = (self.shown_x(from), self.shown_x(to));
        Some(format!(
            "{}{whose} has no points from {from} to {to}.",
            self.name
        ))
    }
}

/// The point that is worst: by its standing, then by how far it is out.
fn worst_of(points: &[Worst]) -> Option<Worst> {
    let rank = |standing| match standing {
        Standing::Inside => 0,
        Standing::Across => 1,
        Standing::Outside => 2,
    };
    let by_both = |a: &&Worst, b: &&Worst| {
        let by_rank = rank(a.standing).cmp(&rank(b.standing));
        by_rank.then(a.excess.total_cmp(&b.excess))
    };
    points.iter().max_by(by_both).copied()
}

/// Turns the points into an outcome with its sentence and worst place.
fn said_of(
    points: &Points<'_>,
    judged: &[Worst],
    missing: Option<String>,
    in_words: impl Fn(&Worst, &str) -> (Outcome, String),
) -> Held {
    let Some(worst) = worst_of(judged) else {
        let nothing = || format!("{} has no points where it is limited.", points.name);
        return Held::without_place(Outcome::Unmeasured, missing.unwrap_or_else(nothing));
    };
    let alike = judged.iter().filter(|one| one.standing == worst.standing);
    let count = format!("at {} of {} points", alike.count(), judged.len());
    let (mut outcome, mut text) = in_words(&worst, &count);
    if let Some(missing) = missing {
        outcome = worse(outcome, Outcome::Unmeasured);
        text = format!("{text} {missing}");
    }
    Held {
        outcome,
        text,
        worst: Some(worst),
    }
}
