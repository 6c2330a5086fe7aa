//! A figure night by night as a picture.

use crate::{
    judge::words as numbers,
    report::{
        Zone,
        mark::Mark,
        plot::{Axis, Bound, Pen, Plot, Scale, Series},
        plots,
    },
};

use super::FigureHistory;

/// Length of the axes in pixels.
const SIZE_PX: (f64, f64) = (660.0, 200.0);
/// A picture shows at least so much time.
const SPAN_MIN_S: f64 = 600.0;
/// Part of the time that is left free at either side.
const MARGIN: f64 = 0.03;
const WEEK_S: f64 = 604_800.0;
/// So many uncertainties are in the band.
const COVERAGE: f64 = 2.0;

/// The picture; `None` where there is nothing in the span.
pub(super) fn of_figure(one: &FigureHistory, zone: &Zone, id: String) -> Option<Plot> {
    let nights = nights(one, zone);
    let (first, last) = (*nights.x.first()?, *nights.x.last()?);
    let name = numbers::figure_in_words(&one.figure);
    let half = ((last - first) * (0.5 + MARGIN)).max(SPAN_MIN_S / 2.0);
    let middle = f64::midpoint(first, last);
    let (low, high) = (middle - half, middle + half);
    let mut series = vec![nights];
    series.extend(trend(one, zone));
    series.extend(baseline(one, [low, high]));
    let axis = |scale, low, high, length_px, label: String| Axis {
        scale,
        low,
        high,
        length_px,
        label,
    };
    let points = &one.history.points;
    let from = zone.time(points.first().map(|point| &point.time));
    let to = zone.time(points.last().map(|point| &point.time));
    let label = match one.figure.unit.as_str() {
        "" => name.clone(),
        unit => format!("{name} ({unit})"),
    };
    let said = one.said.iter().map(|said| {
        let mark = Mark::new(said.state, said.outcome);
        (zone.civil_s(&said.time), mark)
    });
    let changes = one.history.setup_changes();
    let mut plot = Plot {
        id,
        title: format!("{name}, {from} to {to}"),
        description: description(&series[0], &one.figure.unit),
        x: axis(Scale::Time, low, high, SIZE_PX.0, format!("{from} to {to}")),
        y: axis(Scale::Linear, 0.0, 1.0, SIZE_PX.1, label),
        ratio: String::new(),
        limits: bounds(one, [low, high]),
        verdicts: said.filter(|(x, _)| low <= *x && *x <= high).collect(),
        changes: changes.map(|point| zone.civil_s(&point.time)).collect(),
        losses: Vec::new(),
        series,
    };
    fit(&mut plot);
    Some(plot)
}

fn nights(one: &FigureHistory, zone: &Zone) -> Series {
    let points = &one.history.points;
    let has_spread = points.iter().any(|point| point.uncertainty.is_some());
    let spread = points
        .iter()
        .map(|point| COVERAGE * point.uncertainty.unwrap_or_default());
    Series {
        label: match has_spread {
            true => "each measurement, band: ± 2 uncertainties".to_owned(),
            false => "each measurement".to_owned(),
        },
        pen: Pen::Nights,
        x: points
            .iter()
            .map(|point| zone.civil_s(&point.time))
            .collect(),
        y: points.iter().map(|point| point.value).collect(),
        spread: if has_spread {
            spread.collect()
        } else {
            Vec::new()
        },
    }
}

/// The trend over those of its nights that are in the picture.
fn trend(one: &FigureHistory, zone: &Zone) -> Option<Series> {
    let trend = one.trend?;
    let points = one.history.points.get(one.history.anew..)?;
    let begin = zone.civil_s(&points.first()?.time);
    let end = zone.civil_s(&points.last()?.time);
    Some(Series {
        label: match trend.is_certain() {
            true => "trend".to_owned(),
            false => "trend, which may as well be none".to_owned(),
        },
        pen: Pen::Trend,
        x: vec![begin, end],
        y: vec![trend.now - trend.slope * (end - begin) / WEEK_S, trend.now],
        spread: Vec::new(),
    })
}

fn baseline(one: &FigureHistory, [low, high]: [f64; 2]) -> Option<Series> {
    let value = one.baseline?;
    Some(Series {
        label: "baseline".to_owned(),
        pen: Pen::Baseline,
        x: vec![low, high],
        y: vec![value, value],
        spread: Vec::new(),
    })
}

fn bounds(one: &FigureHistory, [from, to]: [f64; 2]) -> Vec<Bound> {
    let bound = |y: f64, is_most| Bound {
        from,
        to,
        y: [y, y],
        is_most,
    };
    let limits = one.limits.iter().flat_map(|(least, most)| {
        let least = least.map(|y| bound(y, false));
        least.into_iter().chain(most.map(|y| bound(y, true)))
    });
    limits.collect()
}

fn fit(plot: &mut Plot) {
    let series = plot.series.iter();
    let values = series.flat_map(|one| one.y.iter().copied());
    let limits = plot.limits.iter().flat_map(|limit| limit.y);
    let all: Vec<f64> = values.chain(limits).collect();
    let low = all.iter().copied().fold(f64::INFINITY, f64::min);
    let high = all.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    plots::fit_linear(plot, low, high);
    plot.ratio.clear();
}

/// First, last, lowest and highest, for those who do not see it.
fn description(nights: &Series, unit: &str) -> String {
    let shown = |value: f64| numbers::with_unit(&numbers::rounded(value, 4), unit);
    let low = nights.y.iter().copied().fold(f64::INFINITY, f64::min);
    let high = nights.y.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let ends = [nights.y.first(), nights.y.last()];
    let [first, last] = ends.map(|value| value.map_or_else(String::new, |value| shown(*value)));
    format!(
        "{} measurements: the first {first}, the last {last}, the lowest {}, the highest {}.",
        nights.y.len(),
        shown(low),
        shown(high)
    )
}
