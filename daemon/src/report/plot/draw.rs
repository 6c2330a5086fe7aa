//! The parts of a picture.

use std::fmt::Write;

use super::{Bound, Pen, Plot, Series, marker, simplify};
use crate::report::{html::Safe, mark::Mark};

/// Markers along a curve.
const MARKERS: usize = 7;
/// Distance of the ticks on the forbidden side of a limit, and their length, in pixels.
const HATCH_PX: f64 = 9.0;
/// Room of a shape above the frame, to either side, in pixels.
pub(super) const SHAPES_PX: f64 = 22.0;
/// A history of more nights than this is a line alone.
const DOTS_MAX: usize = 90;
/// Length of a line in the legend in pixels.
const SAMPLE_PX: f64 = 40.0;

/// Grid, frame, numbers and labels.
pub(super) fn axes(plot: &Plot) -> String {
    let (width, height) = (plot.x.length_px, plot.y.length_px);
    let (mut lines, mut texts) = (String::new(), String::new());
    for tick in plot.x.ticks() {
        let class = grid_class(&tick.text);
        write!(
            lines,
            "<path class=\"{class}\" d=\"M{0:.1} 0V{height:.1}\"/>",
            tick.px
        )
        .expect("a string takes all");
        write!(
            texts,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text>",
            tick.px,
            height + 18.0,
            tick.text
        )
        .expect("a string takes all");
    }
    for tick in plot.y.ticks() {
        let (class, y) = (grid_class(&tick.text), height - tick.px);
        write!(
            lines,
            "<path class=\"{class}\" d=\"M0 {y:.1}H{width:.1}\"/>"
        )
        .expect("a string takes all");
        write!(
            texts,
            "<text x=\"-8\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
            y + 4.5,
            tick.text
        )
        .expect("a string takes all");
    }
    format!(
        "{lines}\n<path class=\"frame\" d=\"M0 0H{width:.1}V{height:.1}H0Z\"/>\n{texts}\n{}\n",
        labels(plot)
    )
}

fn grid_class(text: &str) -> &'static str {
    if text.is_empty() { "minor" } else { "major" }
}

fn labels(plot: &Plot) -> String {
    let (width, height) = (plot.x.length_px, plot.y.length_px);
    format!(
        "<text x=\"0\" y=\"{below:.1}\">{x}</text>\
         <text x=\"{width:.1}\" y=\"{below:.1}\" text-anchor=\"end\">{ratio}</text>\
         <text transform=\"translate(-60 {middle:.1}) rotate(-90)\" text-anchor=\"middle\">{y}</text>",
        below = height + 42.0,
        middle = height / 2.0,
        x = Safe(&plot.x.label),
        y = Safe(&plot.y.label),
        ratio = Safe(&plot.ratio),
    )
}

/// Limits: strong lines with ticks on the side that is forbidden.
pub(super) fn limits(plot: &Plot) -> String {
    let (width, height) = (plot.x.length_px, plot.y.length_px);
    let lines: String = plot
        .limits
        .iter()
        .map(|limit| bound_path(plot, limit))
        .map(|path| format!("<path class=\"limit\" d=\"{path}\"/>\n"))
        .collect();
    within(width, height, &lines)
}

fn bound_path(plot: &Plot, limit: &Bound) -> String {
    if limit.y[0].is_nan() {
        return upright(plot.x.px(limit.from), plot.y.length_px, limit.is_most);
    }
    let place = |x: f64, y: f64| (plot.x.px(x), plot.y.length_px - bounded(plot.y.px(y)));
    let (from, to) = (place(limit.from, limit.y[0]), place(limit.to, limit.y[1]));
    hatched(from, to, limit.is_most)
}

/// A line from top to bottom with ticks to the right where `is_most`, else to the left.
fn upright(x: f64, height: f64, is_most: bool) -> String {
    let mut path = format!("M{x:.1} 0V{height:.1}");
    let reach = if is_most { HATCH_PX } else { -HATCH_PX } / 1.5;
    for index in 0..=(height / HATCH_PX).floor() as i32 {
        let y = HATCH_PX * f64::from(index);
        write!(path, "M{x:.1} {y:.1}l{reach:.1} -4").expect("a string takes all");
    }
    path
}

/// A line with ticks upwards where `is_most`, else downwards.
fn hatched(from: (f64, f64), to: (f64, f64), is_most: bool) -> String {
    let mut path = format!("M{:.1} {:.1}L{:.1} {:.1}", from.0, from.1, to.0, to.1);
    let rise = if is_most { -HATCH_PX } else { HATCH_PX } / 1.5;
    let length = (to.0 - from.0).hypot(to.1 - from.1);
    let count = (length / HATCH_PX).floor() as i32;
    for index in 0..=count {
        let part = f64::from(index) * HATCH_PX / length.max(HATCH_PX);
        let x = from.0 + part * (to.0 - from.0);
        let y = from.1 + part * (to.1 - from.1);
        write!(path, "M{x:.1} {y:.1}l4 {rise:.1}").expect("a string takes all");
    }
    path
}

/// Lines from top to bottom where the setup became another.
pub(super) fn changes(plot: &Plot) -> String {
    let height = plot.y.length_px;
    let lines = plot.changes.iter().map(|x| {
        let px = plot.x.px(*x);
        format!("<path class=\"change\" d=\"M{px:.1} 0V{height:.1}\"/>\n")
    });
    lines.collect()
}

/// Lines from top to bottom where sound was lost; those that would lie on each other are one.
pub(super) fn losses(plot: &Plot) -> String {
    let height = plot.y.length_px;
    let mut pixels: Vec<i64> = plot
        .losses
        .iter()
        .map(|x| plot.x.px(*x).round() as i64)
        .collect();
    pixels.sort_unstable();
    pixels.dedup();
    let lines = pixels.iter();
    lines
        .map(|px| format!("<path class=\"loss\" d=\"M{px} 0V{height:.1}\"/>\n"))
        .collect()
}

/// Shapes above the frame. Where they would lie on each other, the worst of them stands for all.
pub(super) fn verdicts(plot: &Plot) -> String {
    let mut slots: Vec<(i64, f64, Mark)> = Vec::new();
    for (x, mark) in &plot.verdicts {
        let px = plot.x.px(*x);
        let slot = (px / SHAPES_PX).floor() as i64;
        match slots.last_mut() {
            Some(last) if last.0 == slot && last.2 >= *mark => {}
            Some(last) if last.0 == slot => *last = (slot, px, *mark),
            _ => slots.push((slot, px, *mark)),
        }
    }
    let shapes = slots.iter().map(|(_, px, mark)| {
        let (class, drawing) = mark.drawing();
        let left = px - 7.0;
        format!(
            "<g class=\"verdict {class}\" transform=\"translate({left:.1} -19) scale(.7)\">\
             {drawing}</g>\n"
        )
    });
    shapes.collect()
}

/// The curves with their bands, the first on top.
pub(super) fn curves(plot: &Plot) -> String {
    let has_several = measured_count(plot) > 1;
    let drawn: String = plot
        .series
        .iter()
        .rev()
        .map(|series| curve(plot, series, has_several))
        .collect();
    within(plot.x.length_px, plot.y.length_px, &drawn)
}

/// A nested picture cuts off what lies outside the frame.
fn within(width: f64, height: f64, inner: &str) -> String {
    if inner.is_empty() {
        return String::new();
    }
    format!("<svg width=\"{width:.1}\" height=\"{height:.1}\">\n{inner}</svg>\n")
}

fn measured_count(plot: &Plot) -> usize {
    let pens = plot.series.iter();
    pens.filter(|one| matches!(one.pen, Pen::Measured(_)))
        .count()
}

fn class(pen: Pen) -> String {
    match pen {
        Pen::Measured(index) => format!("curve-{}", index + 1),
        Pen::Baseline => "baseline".to_owned(),
        Pen::Before => "before".to_owned(),
        Pen::Nights => "curve-1".to_owned(),
        Pen::Trend => "trend".to_owned(),
    }
}

fn curve(plot: &Plot, series: &Series, has_several: bool) -> String {
    let px = |offset: f64| -> Vec<(f64, f64)> {
        let points = series.x.iter().zip(&series.y).enumerate();
        points
            .map(|(index, (x, y))| {
                let spread = series.spread.get(index).copied().unwrap_or_default();
                let y = plot.y.px(y + offset * spread);
                (plot.x.px(*x), plot.y.length_px - bounded(y))
            })
            .collect()
    };
    let class = class(series.pen);
    let mut text = String::new();
    if !series.spread.is_empty() {
        let (over, mut under) = (simplify::thinned(&px(1.0)), simplify::thinned(&px(-1.0)));
        under.reverse();
        let (over, under) = (
            simplify::straightened(&over),
            simplify::straightened(&under),
        );
        let around: Vec<_> = over.into_iter().chain(under).collect();
        let path = path(&around);
        writeln!(text, "<path class=\"band {class}\" d=\"{path}Z\"/>").expect("a string takes all");
    }
    let points = simplify::thinned(&px(0.0));
    let line = path(&simplify::straightened(&points));
    writeln!(text, "<path class=\"line {class}\" d=\"{line}\"/>").expect("a string takes all");
    if series.pen == Pen::Nights && points.len() <= DOTS_MAX {
        let dots = points.iter().map(|(x, y)| marker::at(series.pen, *x, *y));
        let dots: String = dots.collect();
        writeln!(text, "<g class=\"marker {class}\">{dots}</g>").expect("a string takes all");
    }
    if has_several {
        let markers: String = (0..MARKERS)
            .filter_map(|index| points.get((2 * index + 1) * points.len() / (2 * MARKERS)))
            .map(|(x, y)| marker::at(series.pen, *x, *y))
            .collect();
        writeln!(text, "<g class=\"marker {class}\">{markers}</g>").expect("a string takes all");
    }
    text
}

/// Far outside the frame one place is as good as another, and short to write.
fn bounded(px: f64) -> f64 {
    px.clamp(-4000.0, 4000.0)
}

fn path(points: &[(f64, f64)]) -> String {
    let mut path = String::new();
    for (index, (x, y)) in points.iter().enumerate() {
        let command = if index == 0 { 'M' } else { 'L' };
        write!(path, "{command}{x:.1} {y:.1}").expect("a string takes all");
    }
    path
}

/// One line for each curve, and one for the limits.
pub(super) fn legend(plot: &Plot, line_px: f64) -> String {
    let has_several = measured_count(plot) > 1;
    let samples = plot.series.iter().map(|series| {
        let class = class(series.pen);
        let marker = match has_several {
            true => marker::at(series.pen, SAMPLE_PX / 2.0, 0.0),
            false => String::new(),
        };
        let line = format!(
            "<path class=\"line {class}\" d=\"M0 0H{SAMPLE_PX}\"/><g class=\"marker {class}\">{marker}</g>"
        );
        (line, series.label.as_str())
    });
    let limit = (!plot.limits.is_empty()).then(|| {
        let path = hatched((0.0, 0.0), (SAMPLE_PX, 0.0), true);
        let line = format!("<path class=\"limit\" d=\"{path}\"/>");
        (line, "limit, with ticks on the side that is not allowed")
    });
    let change = (!plot.changes.is_empty()).then(|| {
        let middle = SAMPLE_PX / 2.0;
        let line = format!("<path class=\"change\" d=\"M{middle} -8V8\"/>");
        (line, "the setup became another")
    });
    let loss = (!plot.losses.is_empty()).then(|| {
        let middle = SAMPLE_PX / 2.0;
        let line = format!("<path class=\"loss\" d=\"M{middle} -8V8\"/>");
        (line, "sound was lost")
    });
    let all = samples.chain(limit).chain(change).chain(loss);
    let mut text = String::new();
    for (index, (sample, label)) in all.enumerate() {
        // A handful: exact as a float.
        let y = line_px * index as f64 + 6.0;
        write!(
            text,
            "<g transform=\"translate(0 {y})\">{sample}<text x=\"{x}\" y=\"4.5\">{}</text></g>",
            Safe(label),
            x = SAMPLE_PX + 10.0,
        )
        .expect("a string takes all");
    }
    text
}
