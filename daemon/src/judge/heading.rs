//! What a trend is heading for, in words.

use goodwire_proto::v1::{Figure, Finding, Measurement};

use super::{
    applies,
    interval::Interval,
    place,
    trend::{Crossing, Night, Trend},
    words,
};
use crate::config::LimitConfig;

/// Trends that reach a limit later than this are not told, where the limit says nothing else.
const HORIZON_WEEKS: f64 = 8.0;
/// Further ahead nobody can tell.
const WEEKS_MAX: f64 = 52.0;

/// The figures of a measurement that have a `min` or `max`, each with its limit.
pub fn limited<'a>(
    limits: &'a [LimitConfig],
    measurement: &'a Measurement,
) -> Vec<(&'a LimitConfig, &'a Figure)> {
    let limits = limits.iter().filter(|limit| {
        limit.curve.is_none()
            && (limit.min.is_some() || limit.max.is_some())
            && applies(limit, measurement)
    });
    let figures = limits.flat_map(|limit| {
        let figures = measurement.figures.iter();
        let meant = figures.filter(|figure| {
            figure.id == limit.figure && place::agrees(figure.at.as_ref(), &limit.at)
        });
        meant.map(move |figure| (limit, figure))
    });
    figures.collect()
}

/// The finding `trend-towards-limit`: a figure that keeps its limit now, and whose trend reaches it
/// within the limit's horizon. `None` where the slope's interval holds 0.
#[must_use]
pub fn trend_finding(limit: &LimitConfig, figure: &Figure, nights: &[Night]) -> Option<Finding> {
    let trend = Trend::of(nights)?;
    let (at, crossing) = crossing(limit, &trend)?;
    if crossing.weeks > limit.horizon_weeks.unwrap_or(HORIZON_WEEKS) {
        return None;
    }
    let text = format!(
        "{} and reaches its limit of {} {}: look before then at what wears or creeps (battery, \
         connectors, antennas, a knob).",
        trend_in_words(figure, &trend),
        words::with_unit(&words::number(at), &figure.unit),
        crossing_in_words(&crossing)
    );
    Some(Finding {
        id: "trend-towards-limit".to_owned(),
        text,
    })
}

/// Which of its limits a trend meets, and when; the first of both.
fn crossing(limit: &LimitConfig, trend: &Trend) -> Option<(f64, Crossing)> {
    // Beyond a limit already: the verdict says so, and there is nothing to be told before.
    let is_within =
        limit.min.is_none_or(|min| trend.now > min) && limit.max.is_none_or(|max| trend.now < max);
    let ends = [limit.min, limit.max].into_iter().flatten();
    let mut met = ends.filter_map(|end| Some((end, trend.reaches(end)?)));
    met.next().filter(|_| is_within)
}

/// How a figure moves: `Gain falls by 0.12 dB (0.09 to 0.15) a week`.
#[must_use]
pub fn trend_in_words(figure: &Figure, trend: &Trend) -> String {
    let name = words::figure_in_words(figure);
    let (low, high) = (trend.low, trend.high);
    let told = |value, low, high| words::ranged(&Interval { value, low, high }, &figure.unit);
    if !trend.is_certain() {
        return format!(
            "{name} has no trend: {} a week",
            told(trend.slope, low, high)
        );
    }
    match trend.slope < 0.0 {
        true => format!("{name} falls by {} a week", told(-trend.slope, -high, -low)),
        false => format!("{name} rises by {} a week", told(trend.slope, low, high)),
    }
}

/// `in about 5 weeks (3 to 9)`: the ends are rounded outwards.
fn crossing_in_words(crossing: &Crossing) -> String {
    let Crossing {
        weeks,
        earliest,
        latest,
    } = crossing;
    let earliest = earliest.floor();
    let latest = match *latest > WEEKS_MAX {
        true => format!("more than {WEEKS_MAX}"),
        false => format!("{:.0}", latest.ceil()),
    };
    if *weeks < 1.5 {
        return format!("in about a week ({earliest:.0} to {latest})");
    }
    format!("in about {weeks:.0} weeks ({earliest:.0} to {latest})")
}
