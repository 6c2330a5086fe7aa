//! Slow trends: the slope of a figure's history, with its interval, and when it meets a limit.
//!
//! The slope is the median of the slopes of all pairs of points (Theil and Sen): half of the nights
//! but a few may be wild, and it stays. Its interval comes from the distribution of Kendall's tau
//! where there is no trend, as normal, with the correction for ties: Sen, "Estimates of the
//! regression coefficient based on Kendall's tau", J. Am. Stat. Assoc. 63 (1968), and Gilbert,
//! "Statistical methods for environmental pollution monitoring" (1987), chapter 16; both from
//! memory, and held against `scipy.stats.theilslopes` in the tests.
//!
//! The interval takes the scatter of one night to say nothing of the next. Where it does, as with
//! the weather, the interval is too narrow.

use std::cmp::Ordering;

/// 97.5 % of a normal distribution lie below so many standard deviations.
const NORMAL_97_5: f64 = 1.959_963_984_540_054;
/// At least so many points make a trend.
const POINTS_MIN: usize = 14;
/// Over at least so many weeks.
const WEEKS_MIN: f64 = 2.0;
/// Longer histories are first joined into medians of neighbours, for the pairs grow as the square.
const POINTS_MAX: usize = 400;

/// One night of a figure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Night {
    /// When it was measured, in weeks from any beginning.
    pub week: f64,
    /// The figure, in its unit.
    pub value: f64,
}

/// How a figure has moved.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// The slope, in the figure's unit a week.
    pub slope: f64,
    /// Lower end of the slope's 95 % interval.
    pub low: f64,
    /// Upper end of the slope's 95 % interval.
    pub high: f64,
    /// The trend's value at the last point, in the figure's unit.
    pub now: f64,
}

/// When a trend meets a limit, in weeks from the last point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crossing {
    /// By the slope.
    pub weeks: f64,
    /// By the steepest slope of the interval.
    pub earliest: f64,
    /// By the flattest.
    pub latest: f64,
}

impl Trend {
    /// The trend of a history in order of time; `None` with fewer than 14 points or less than two
    /// weeks between the first and the last.
    #[must_use]
    pub fn of(nights: &[Night]) -> Option<Self> {
        let reach = nights.last()?.week - nights.first()?.week;
        if nights.len() < POINTS_MIN || reach < WEEKS_MIN {
            return None;
        }
        let block = nights.len().div_ceil(POINTS_MAX);
        let nights: Vec<Night> = nights.chunks(block).map(middle).collect();
        let mut slopes = slopes(&nights);
        slopes.sort_by(f64::total_cmp);
        let slope = median(&mut slopes)?;
        let weeks = || nights.iter().map(|night| night.week);
        let values = || nights.iter().map(|night| night.value);
        let (mut times, mut values) = (weeks().collect::<Vec<_>>(), values().collect::<Vec<_>>());
        let spread = NORMAL_97_5 * deviation(&times, &values);
        let count = slopes.len() as f64;
        // The ranks of the two ends, from 0; a negative one counts as 0.
        let place = |rank: f64| slopes[(rank.max(0.0) as usize).min(slopes.len() - 1)];
        let start = median(&mut values)? - slope * median(&mut times)?;
        Some(Self {
            slope,
            low: place(((count - spread) / 2.0).round_ties_even() - 1.0),
            high: place(((count + spread) / 2.0).round_ties_even()),
            now: start + slope * nights.last()?.week,
        })
    }

    /// True where the whole interval lies to one side of 0.
    #[must_use]
    pub fn is_certain(&self) -> bool {
        self.low > 0.0 || self.high < 0.0
    }

    /// When a trend that is certain reaches `limit`; `None` where it moves away from it, or lies
    /// beyond it already.
    #[must_use]
    pub fn reaches(&self, limit: f64) -> Option<Crossing> {
        let left = limit - self.now;
        if !self.is_certain() || left == 0.0 || (left > 0.0) != (self.slope > 0.0) {
            return None;
        }
        let ends = [left / self.low, left / self.high];
        Some(Crossing {
            weeks: left / self.slope,
            earliest: ends[0].min(ends[1]),
            latest: ends[0].max(ends[1]),
        })
    }
}

/// The median night of some neighbours.
fn middle(nights: &[Night]) -> Night {
    let of = |value: fn(&Night) -> f64| {
        median(&mut nights.iter().map(value).collect::<Vec<_>>()).unwrap_or_default()
    };
    Night {
        week: of(|night| night.week),
        value: of(|night| night.value),
    }
}

/// The slopes of all pairs that are not of one time.
fn slopes(nights: &[Night]) -> Vec<f64> {
    let mut slopes = Vec::with_capacity(nights.len() * nights.len() / 2);
    for (index, first) in nights.iter().enumerate() {
        let later = nights[index + 1..]
            .iter()
            .filter(|later| later.week > first.week);
        slopes.extend(later.map(|later| (later.value - first.value) / (later.week - first.week)));
    }
    slopes
}

fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let half = values.len() / 2;
    match values.len() % 2 {
        _ if values.is_empty() => None,
        1 => Some(values[half]),
        _ => Some(f64::midpoint(values[half - 1], values[half])),
    }
}

/// Standard deviation of Kendall's S where there is no trend, ties in either counted.
fn deviation(weeks: &[f64], values: &[f64]) -> f64 {
    let term = |count: f64| count * (count - 1.0) * (2.0 * count + 5.0);
    let tied = |values: &[f64]| {
        let mut sorted = values.to_vec();
        sorted.sort_by(f64::total_cmp);
        let same = |a: &f64, b: &f64| a.total_cmp(b) == Ordering::Equal;
        let ties = sorted.chunk_by(same).map(|alike| term(alike.len() as f64));
        ties.sum::<f64>()
    };
    let variance = (term(weeks.len() as f64) - tied(weeks) - tied(values)) / 18.0;
    variance.max(0.0).sqrt()
}
