//! Which pictures a measurement gets, and on which proportions.
//!
//! IEC 60263:2020: a level over a logarithmic frequency axis stands on 10, 20, 25 or 50 dB per
//! decade, an amplitude on a logarithmic axis on 0.5, 1, 1.25 or 2.5 decades per decade. Here it is
//! 25 dB, or 1.25 decades; 50 dB, or 2.5 decades, where the picture would be too high. Linear axes
//! (phase, delay, time) have no proportions there.

mod bounds;
mod losses;

use goodwire_proto::v1::{Curve, Measurement};

use super::{
    Subject, Zone,
    plot::{Axis, PENS, Pen, Plot, Scale, Series},
    words,
};
use crate::judge::{place, words as numbers};

/// Length of a decade of frequency in pixels.
const DECADE_PX: f64 = 220.0;
/// Least and most height of a picture in dB at 25 dB per decade; the most is twice that at 50 dB.
const SPAN_DB: (f64, f64) = (30.0, 60.0);
/// Length of a linear x axis, and height of a linear y axis, in pixels.
const LINEAR_PX: (f64, f64) = (660.0, 240.0);
/// So many uncertainties are in the band.
const COVERAGE: f64 = 2.0;

/// A curve with what the picture has to know of it.
pub(super) struct Drawn<'a> {
    /// For the legend.
    pub(super) label: String,
    /// The curve.
    pub(super) curve: &'a Curve,
}

/// The pictures of a measurement; their ids begin with `id`.
pub(super) fn of_subject(subject: &Subject, zone: &Zone, id: &str, what: &str) -> Vec<Plot> {
    let curves = &subject.measurement.curves;
    let mut plots = Vec::new();
    for group in groups(curves) {
        for part in group.chunks(PENS) {
            let drawn: Vec<Drawn<'_>> = part
                .iter()
                .map(|curve| Drawn {
                    label: label(curve),
                    curve,
                })
                .collect();
            let plot_id = format!("{id}-plot-{}", plots.len() + 1);
            let Some(mut plot) = plot(plot_id, what, &drawn) else {
                continue;
            };
            if let [only] = part {
                compare(&mut plot, subject, zone, only);
            }
            plot.losses = losses::along(&subject.measurement.events, &part[0].x_unit);
            fit(&mut plot);
            plots.push(plot);
        }
    }
    plots
}

/// Several measurements' curves of one id in one picture each.
pub(super) fn overlaid(measurements: &[(String, &Measurement)], id: &str) -> Vec<Plot> {
    let Some((_, first)) = measurements.first() else {
        return Vec::new();
    };
    let mut plots = Vec::new();
    for curve in &first.curves {
        let found = measurements.iter().filter_map(|(name, measurement)| {
            let curve = counterpart(curve, measurement)?;
            Some(Drawn {
                label: name.clone(),
                curve,
            })
        });
        let found: Vec<Drawn<'_>> = found.collect();
        // More than there are pens go into several pictures.
        for drawn in found.chunks(PENS).filter(|_| found.len() > 1) {
            let plot_id = format!("{id}-plot-{}", plots.len() + 1);
            if let Some(mut plot) = plot(plot_id, "Side by side", drawn) {
                fit(&mut plot);
                plots.push(plot);
            }
        }
    }
    plots
}

/// Curves of equal units stand together, in the order in which they are first met.
fn groups(curves: &[Curve]) -> Vec<Vec<&Curve>> {
    let mut groups: Vec<Vec<&Curve>> = Vec::new();
    for curve in curves.iter().filter(|curve| curve.x.len() > 1) {
        let is_alike = |group: &&mut Vec<&Curve>| {
            group
                .iter()
                .all(|other| (&other.x_unit, &other.y_unit) == (&curve.x_unit, &curve.y_unit))
        };
        match groups.iter_mut().find(is_alike) {
            Some(group) => group.push(curve),
            None => groups.push(vec![curve]),
        }
    }
    groups
}

fn label(curve: &Curve) -> String {
    let place = place::in_words(curve.at.as_ref());
    format!("{}{place}", words::title(&curve.id))
}

fn counterpart<'a>(curve: &Curve, other: &'a Measurement) -> Option<&'a Curve> {
    let mut curves = other.curves.iter().filter(|other| other.x.len() > 1);
    curves.find(|other| {
        other.id == curve.id && place::same_place(other.at.as_ref(), curve.at.as_ref())
    })
}

/// The picture of curves of equal units; `None` where nothing of them can be drawn.
fn plot(id: String, what: &str, drawn: &[Drawn<'_>]) -> Option<Plot> {
    let first = drawn.first()?.curve;
    let mut series = Vec::new();
    for (index, one) in drawn.iter().enumerate() {
        series.push(of_curve(one.curve, &one.label, Pen::Measured(index)));
    }
    let x_values = || series.iter().flat_map(|one| one.x.iter().copied());
    let low = x_values().fold(f64::INFINITY, f64::min);
    let high = x_values().fold(f64::NEG_INFINITY, f64::max);
    let is_log = first.x_unit == "Hz" && low > 0.0;
    let axis = |scale, low, high, length_px, unit: &str, name: &str| Axis {
        scale,
        low,
        high,
        length_px,
        label: with_unit(name, unit),
    };
    let x = if is_log {
        let decades = (high / low).log10().max(1.0);
        let high = high.max(low * 10.0);
        axis(
            Scale::Log,
            low,
            high,
            DECADE_PX * decades,
            "Hz",
            "Frequency",
        )
    } else {
        let name = words::title(quantity(&first.x_unit));
        axis(Scale::Linear, low, high, LINEAR_PX.0, &first.x_unit, &name)
    };
    // Until it is fitted to all that is in the picture.
    let y = axis(
        Scale::Linear,
        0.0,
        1.0,
        LINEAR_PX.1,
        &first.y_unit,
        &y_name(drawn),
    );
    Some(Plot {
        description: description(&series, &first.x_unit, &first.y_unit),
        title: format!("{what}: {}", lower_first(&y_name(drawn))),
        id,
        x,
        y,
        ratio: String::new(),
        series,
        limits: Vec::new(),
        verdicts: Vec::new(),
        changes: Vec::new(),
        losses: Vec::new(),
    })
}

fn of_curve(curve: &Curve, label: &str, pen: Pen) -> Series {
    let spread = curve.y_uncertainty.iter().map(|one| COVERAGE * one);
    Series {
        label: label.to_owned(),
        pen,
        x: curve.x.clone(),
        y: curve.y.clone(),
        spread: spread.collect(),
    }
}

/// Puts last time, the baseline and the limits into the picture of a curve.
fn compare(plot: &mut Plot, subject: &Subject, zone: &Zone, curve: &Curve) {
    let others = [
        (&subject.before, Pen::Before, "last time"),
        (&subject.baseline, Pen::Baseline, "baseline"),
    ];
    for (other, pen, name) in others {
        let Some(other) = other else { continue };
        if let Some(found) = counterpart(curve, other) {
            let label = format!("{name}, {}", zone.time_of(other));
            let mut series = of_curve(found, &label, pen);
            series.spread.clear();
            plot.series.push(series);
        }
    }
    if !plot.series[0].spread.is_empty() {
        plot.series[0].label.push_str(", band: ± 2 uncertainties");
    }
    plot.limits = bounds::of_curve(subject, curve);
}

/// Gives the y axis the range that everything in the picture needs, on the right proportions.
fn fit(plot: &mut Plot) {
    let bounds = plot.limits.iter().flat_map(|limit| limit.y);
    let values = plot.series.iter().flat_map(|one| one.y.iter().copied());
    let values: Vec<f64> = values.chain(bounds).collect();
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let unit = plot.y.label.clone();
    let is_level = unit.ends_with("dB)") || unit.ends_with("dBFS)") || unit.ends_with("dBu)");
    match plot.x.scale {
        Scale::Log if is_level => fit_level(plot, low, high),
        Scale::Log if unit.ends_with("%)") && high > 0.0 => fit_share(plot, &values, high),
        _ => fit_linear(plot, low, high),
    }
}

/// A level over frequency: 25 dB per decade, or 50.
fn fit_level(plot: &mut Plot, low: f64, high: f64) {
    let high = 10.0 * (high / 10.0 + 0.05).ceil();
    let low = (10.0 * (low / 10.0 - 0.05).floor()).min(high - SPAN_DB.0);
    let decade_db = if high - low > SPAN_DB.1 { 50.0 } else { 25.0 };
    // What lies further down is cut off at the frame: it is noise, or a hole.
    plot.y.low = low.max(high - SPAN_DB.1 * decade_db / 25.0);
    plot.y.high = high;
    plot.y.length_px = (high - plot.y.low) * DECADE_PX / decade_db;
    plot.ratio = format!("IEC 60263, {decade_db} dB per decade");
}

/// A share in % over frequency, logarithmic: 1.25 decades per decade, or 2.5.
fn fit_share(plot: &mut Plot, values: &[f64], high: f64) {
    let positive = values.iter().copied().filter(|value| *value > 0.0);
    let low = positive.fold(high, f64::min).log10();
    let top = (high.log10() + 0.05).ceil();
    let bottom = (low - 0.05).floor().max(top - 6.0);
    let ratio = if top - bottom > 3.0 { 2.5 } else { 1.25 };
    plot.y.scale = Scale::Log;
    (plot.y.low, plot.y.high) = (10f64.powf(bottom), 10f64.powf(top));
    plot.y.length_px = (top - bottom) * DECADE_PX / ratio;
    plot.ratio = format!("IEC 60263, {ratio} decades per decade");
}

pub(crate) fn fit_linear(plot: &mut Plot, low: f64, high: f64) {
    // A line that never moves stands in the middle of a picture of some height.
    let margin = ((high - low) * 0.08)
        .max(high.abs().max(low.abs()) * 1e-3)
        .max(1e-3);
    (plot.y.low, plot.y.high) = (low - margin, high + margin);
    plot.ratio = "linear scale".to_owned();
}

fn y_name(drawn: &[Drawn<'_>]) -> String {
    let mut names: Vec<String> = drawn
        .iter()
        .map(|one| words::title(&one.curve.id))
        .collect();
    names.dedup();
    names.join(", ")
}

fn quantity(unit: &str) -> &'static str {
    match unit {
        "Hz" => "frequency",
        "s" | "ms" => "time",
        "dBFS" | "dBu" => "level_sent",
        "m" => "distance",
        _ => "x",
    }
}

fn with_unit(name: &str, unit: &str) -> String {
    if unit.is_empty() {
        name.to_owned()
    } else {
        format!("{name} ({unit})")
    }
}

/// Where each curve is lowest and highest, in words.
fn description(series: &[Series], x_unit: &str, y_unit: &str) -> String {
    let place = |(x, y): (f64, f64)| {
        let shown = |value: f64, unit: &str| {
            let rounded = format!("{value:.3}").parse().unwrap_or(value);
            numbers::with_unit(&numbers::number(rounded), unit)
        };
        format!("{} at {}", shown(y, y_unit), shown(x, x_unit))
    };
    let sentences = series.iter().filter_map(|one| {
        let points = || one.x.iter().copied().zip(one.y.iter().copied());
        let low = points().min_by(|a, b| a.1.total_cmp(&b.1))?;
        let high = points().max_by(|a, b| a.1.total_cmp(&b.1))?;
        let (low, high) = (place(low), place(high));
        Some(format!("{}: lowest {low}, highest {high}.", one.label))
    });
    sentences.collect::<Vec<_>>().join(" ")
}

fn lower_first(text: &str) -> String {
    let is_word = text.chars().nth(1).is_some_and(char::is_lowercase);
    match text.chars().next() {
        Some(first) if is_word => first.to_lowercase().chain(text.chars().skip(1)).collect(),
        _ => text.to_owned(),
    }
}
