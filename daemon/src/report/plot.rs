//! Curves as SVG: axes, grid, limits, uncertainty bands, curves with dashes and markers.
//!
//! Everything is drawn in classes that the page's style colours, so that one drawing does for
//! light, dark and paper.

mod axis;
mod draw;
mod marker;
mod simplify;

pub(super) use axis::{Axis, Scale};

use super::html::Safe;

/// What a picture shows.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Plot {
    /// Unique in the page; the ids of title and description begin with it.
    pub(super) id: String,
    /// What it is, in a few words.
    pub(super) title: String,
    /// What there is to see, in sentences, for those who do not see it.
    pub(super) description: String,
    /// From left to right.
    pub(super) x: Axis,
    /// From bottom to top.
    pub(super) y: Axis,
    /// The proportions, as IEC 60263 wants them stated; empty where it has none.
    pub(super) ratio: String,
    /// The curves; the first is drawn last, on top.
    pub(super) series: Vec<Series>,
    /// What the curves must keep to.
    pub(super) limits: Vec<Bound>,
}

/// How a curve is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Pen {
    /// What was measured: the k-th colour, dash and marker.
    Measured(usize),
    /// What it is compared with.
    Baseline,
    /// What was measured the time before.
    Before,
}

/// One curve.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Series {
    /// For the legend.
    pub(super) label: String,
    /// How it is drawn.
    pub(super) pen: Pen,
    /// Rising.
    pub(super) x: Vec<f64>,
    /// As many as `x`.
    pub(super) y: Vec<f64>,
    /// Half the height of the band of uncertainty at each point; empty or as many as `y`.
    pub(super) spread: Vec<f64>,
}

/// A limit over a part of the x axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Bound {
    /// Where it begins.
    pub(super) from: f64,
    /// Where it ends.
    pub(super) to: f64,
    /// Where it lies.
    pub(super) y: f64,
    /// True where what lies above it is forbidden.
    pub(super) is_most: bool,
}

/// Different colours, dashes and markers that there are: more curves go into several pictures.
pub(super) const PENS: usize = 5;

const LEFT: f64 = 78.0;
const RIGHT: f64 = 22.0;
const TOP: f64 = 14.0;
const BOTTOM: f64 = 54.0;
const LEGEND_LINE: f64 = 22.0;

impl Plot {
    /// The picture as an SVG element, in a box in which it can be scrolled.
    pub(super) fn render(&self) -> String {
        let legend = self.legend_lines();
        let above = TOP + LEGEND_LINE * legend;
        let (width, height) = (
            LEFT + self.x.length_px + RIGHT,
            above + self.y.length_px + BOTTOM,
        );
        let svg = format!(
            "<svg class=\"plot\" role=\"img\" aria-labelledby=\"{id}-title {id}-text\" \
             viewBox=\"0 0 {width:.0} {height:.0}\" style=\"max-width:{width:.0}px\">\n\
             <title id=\"{id}-title\">{title}</title>\n<desc id=\"{id}-text\">{text}</desc>\n\
             <g transform=\"translate({LEFT} {TOP})\">{legend}</g>\n\
             <g transform=\"translate({LEFT} {above})\">\n{axes}{limits}{curves}</g>\n</svg>\n",
            id = self.id,
            title = Safe(&self.title),
            text = Safe(&self.description),
            legend = draw::legend(self, LEGEND_LINE),
            axes = draw::axes(self),
            limits = draw::limits(self),
            curves = draw::curves(self),
        );
        super::html::scrolled(&self.title, &svg)
    }

    fn legend_lines(&self) -> f64 {
        let lines = self.series.len() + usize::from(!self.limits.is_empty());
        // A handful: exact as a float.
        lines as f64
    }
}
