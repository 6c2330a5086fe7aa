//! Points joined by straight lines, over an axis that may be logarithmic.

/// Spacings of the points that a curve may lack before it counts as not measured there.
const HOLE_SPACINGS: f64 = 3.0;

/// How far apart two places are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Axis {
    /// By the ratio of the two: frequencies.
    Logarithmic,
    /// By the difference of the two: times, levels.
    Linear,
}

impl Axis {
    /// The axis of a unit of x: logarithmic for Hz.
    pub(super) fn of(unit: &str) -> Self {
        match unit {
            "Hz" => Self::Logarithmic,
            _ => Self::Linear,
        }
    }

    /// A number that grows evenly along the axis. The logarithm has no place for 0 and less: what
    /// stands there lies before everything.
    pub(super) fn place(self, x: f64) -> f64 {
        match self {
            Self::Logarithmic => x.max(f64::MIN_POSITIVE).ln(),
            Self::Linear => x,
        }
    }
}

/// The line through `points`, whose x rise, at `x`; `None` before the first and after the last.
pub(super) fn along(axis: Axis, points: &[[f64; 2]], x: f64) -> Option<f64> {
    let after = points.partition_point(|point| point[0] < x);
    let [x_right, y_right] = *points.get(after)?;
    if x_right == x {
        return Some(y_right);
    }
    let [x_left, y_left] = *points.get(after.checked_sub(1)?)?;
    let place = |x| axis.place(x);
    let part = (place(x) - place(x_left)) / (place(x_right) - place(x_left));
    Some(y_left + part * (y_right - y_left))
}

/// The first stretch from `from` to `to` in which `x`, rising, has no points: one that is longer
/// than three of the spacings that they have elsewhere (their median).
///
/// A link that has lost its treble must not pass because there is nothing to be judged.
pub(super) fn hole(axis: Axis, x: &[f64], [from, to]: [f64; 2]) -> Option<[f64; 2]> {
    let length = |pair: &[f64]| axis.place(pair[1]) - axis.place(pair[0]);
    let mut spacings: Vec<f64> = x.windows(2).map(length).collect();
    spacings.sort_by(f64::total_cmp);
    let Some(median) = spacings.get(spacings.len() / 2) else {
        return Some([from, to]);
    };
    let inside = x.iter().copied().filter(|x| from < *x && *x < to);
    let stops: Vec<f64> = [from].into_iter().chain(inside).chain([to]).collect();
    let mut stretches = stops.windows(2);
    let found = stretches.find(|pair| length(pair) > HOLE_SPACINGS * median);
    found.map(|pair| [pair[0], pair[1]])
}
