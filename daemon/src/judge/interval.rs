//! Where a figure lies, and how that stands to what is allowed.

use goodwire_proto::v1::Figure;

/// So many uncertainties either way are counted.
const COVERAGE: f64 = 2.0;

/// A value and the interval in which it lies: `low <= value <= high`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Interval {
    pub(crate) value: f64,
    pub(crate) low: f64,
    pub(crate) high: f64,
}

/// How an interval stands to what is allowed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Standing {
    /// All of it is allowed.
    Inside,
    /// Nothing of it is allowed.
    Outside,
    /// A limit lies in it.
    Across,
}

impl Interval {
    /// The interval of a figure; `None` where it has no finite value.
    ///
    /// `low` and `high` count where the figure has both, else value ± 2 uncertainties. A figure
    /// without any uncertainty, such as a count, is exact. One that has `low` alone is at least so
    /// much, and nobody knows how much more.
    pub(crate) fn of(figure: &Figure) -> Option<Self> {
        let value = figure.value.filter(|value| value.is_finite())?;
        let (low, high) = match (figure.low, figure.high) {
            (Some(low), Some(high)) => (low, high),
            (Some(low), None) => (low, f64::INFINITY),
            _ => return Some(Self::around(value, figure.uncertainty.unwrap_or_default())),
        };
        // `min` and `max` take the value where an end is not a number.
        Some(Self {
            value,
            low: low.min(value),
            high: high.max(value),
        })
    }

    /// Value ± 2 uncertainties.
    pub(super) fn around(value: f64, uncertainty: f64) -> Self {
        let spread = COVERAGE * uncertainty.abs();
        Self {
            value,
            low: value - spread,
            high: value + spread,
        }
    }

    /// The change from `before` to this. Both are independent, so their widths add as the root of
    /// the sum of squares, each side with the side of the other that moves the change that way.
    pub(crate) fn change_from(&self, before: &Self) -> Self {
        let value = self.value - before.value;
        let down = (self.value - self.low).hypot(before.high - before.value);
        let up = (self.high - self.value).hypot(before.value - before.low);
        Self {
            value,
            low: value - down,
            high: value + up,
        }
    }

    /// How it stands to `min` and `max`, both themselves allowed.
    pub(super) fn against(&self, min: Option<f64>, max: Option<f64>) -> Standing {
        let min = min.unwrap_or(f64::NEG_INFINITY);
        let max = max.unwrap_or(f64::INFINITY);
        if min <= self.low && self.high <= max {
            Standing::Inside
        } else if self.high < min || max < self.low {
            Standing::Outside
        } else {
            Standing::Across
        }
    }
}
