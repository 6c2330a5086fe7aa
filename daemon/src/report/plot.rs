//! Curves as SVG: axes, grid, limits, uncertainty bands, curves with dashes and markers.
//!
//! Everything is drawn in classes that the page's style colours, so that one drawing does for
//! light, dark and paper.

mod axis;
mod draw;
mod marker;
mod simplify;

pub(crate) use axis::{Axis, Scale};

use super::{html::Safe, mark::Mark};

/// What a picture shows.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Plot {
    /// Unique in the page; the ids of title and description begin with it.
    pub(crate) id: String,
    /// What it is, in a few words.
    pub(crate) title: String,
    /// What there is to see, in sentences, for those who do not see it.
    pub(crate) description: String,
    /// From left to right.
    pub(crate) x: Axis,
    /// From bottom to top.
    pub(crate) y: Axis,
    /// The proportions, as IEC 60263 wants them stated; empty where it has none.
    pub(crate) ratio: String,
    /// The curves; the first is drawn last, on top.
    pub(crate) series: Vec<Series>,
    /// What the curves must keep to.
    pub(crate) limits: Vec<Bound>,
    /// What was said at places on the x axis, as shapes above the frame.
    pub(crate) verdicts: Vec<(f64, Mark)>,
    /// Places on the x axis from which on the setup is another.
    pub(crate) changes: Vec<f64>,
    /// Places on the x axis at which sound was lost.
    pub(crate) losses: Vec<f64>,
}

/// How a curve is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Pen {
    /// What was measured: the k-th colour, dash and marker.
    Measured(usize),
    /// What it is compared with.
    Baseline,
    /// What was measured the time before.
    Before,
    /// A figure, night by night.
    Nights,
    /// Where the nights are heading.
    Trend,
}

/// One curve.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Series {
    /// For the legend.
    pub(crate) label: String,
    /// How it is drawn.
    pub(crate) pen: Pen,
    /// Rising.
    pub(crate) x: Vec<f64>,
    /// As many as `x`.
    pub(crate) y: Vec<f64>,
    /// Half the height of the band of uncertainty at each point; empty or as many as `y`.
    pub(crate) spread: Vec<f64>,
}

/// A limit over a part of the x axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Bound {
    /// Where it begins.
    pub(crate) from: f64,
    /// Where it ends.
    pub(crate) to: f64,
    /// Where it lies at its beginning and at its end; straight between, as it is drawn. NaN for one
    /// that stands upright from bottom to top.
    pub(crate) y: [f64; 2],
    /// True where what lies above it, or to its right, is forbidden.
    pub(crate) is_most: bool,
}

impl Bound {
    /// A limit of what is on the x axis.
    pub(crate) fn wall(x: f64, is_most: bool) -> Self {
        Self {
            from: x,
            to: x,
            y: [f64::NAN; 2],
            is_most,
        }
    }
}

/// Different colours, dashes and markers that there are: more curves go into several pictures.
pub(crate) const PENS: usize = 5;

const LEFT: f64 = 78.0;
const RIGHT: f64 = 22.0;
const TOP: f64 = 14.0;
const BOTTOM: f64 = 54.0;
const LEGEND_LINE: f64 = 22.0;

impl Plot {
    /// The picture as an SVG element, in a box in which it can be scrolled.
    pub(crate) fn render(&self) -> String {
        let legend = self.legend_lines();
        let shapes = if self.verdicts.is_empty() {
            0.0
        } else {
            draw::SHAPES_PX
        };
        let above = TOP + LEGEND_LINE * legend + shapes;
        let (width, height) = (
            LEFT + self.x.length_px + RIGHT,
            above + self.y.length_px + BOTTOM,
        );
        let svg = format!(
            "<svg class=\"plot\" role=\"img\" aria-labelledby=\"{id}-title {id}-text\" \
             viewBox=\"0 0 {width:.0} {height:.0}\" style=\"max-width:{width:.0}px\">\n\
             <title id=\"{id}-title\">{title}</title>\n<desc id=\"{id}-text\">{text}</desc>\n\
             <g transform=\"translate({LEFT} {TOP})\">{legend}</g>\n\
             <g transform=\"translate({LEFT} {above})\">\n{axes}{losses}{changes}{limits}{curves}{verdicts}</g>\n</svg>\n",
            id = self.id,
            title = Safe(&self.title),
            text = Safe(&self.description),
            legend = draw::legend(self, LEGEND_LINE),
            axes = draw::axes(self),
            losses = draw::losses(self),
            changes = draw::changes(self),
            verdicts = draw::verdicts(self),
            limits = draw::limits(self),
            curves = draw::curves(self),
        );
        super::html::scrolled(&self.title, &svg)
    }

    fn legend_lines(&self) -> f64 {
        let lines = self.series.len() + usize::from(!self.limits.is_empty());
        let lines = lines + usize::from(!self.changes.is_empty());
        let lines = lines + usize::from(!self.losses.is_empty());
        // A handful: exact as a float.
        lines as f64
    }
}
