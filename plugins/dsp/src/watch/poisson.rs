//! What a count says about the rate behind it.

/// Chance on either side of a 95 % interval.
const TAIL: f64 = 0.025;

/// Confidence with which a rate is bounded from one side.
const CONFIDENCE: f64 = 0.95;

/// Halvings of an interval that leave nothing of it in double precision.
const HALVINGS: usize = 200;

/// Exact 95 % interval of the expected number of events where `count` were seen, `[low, high]`.
///
/// `low` is the expectation under which `count` or more have a chance of 2.5 %, `high` that under
/// which `count` or fewer have it; of 0, `low` is 0. The same as `low = chi2(0.025; 2k) / 2` and
/// `high = chi2(0.975; 2k + 2) / 2` (Garwood, Biometrika 28 (1936) 437). Valid up to 10^12.
#[must_use]
pub fn interval(count: u64) -> [f64; 2] {
    let high = upper(count, TAIL);
    if count == 0 {
        return [0.0, high];
    }
    // `count` or more: all but `count - 1` or fewer.
    let low = solve([0.0, count as f64], |mean| at_least(count, mean) >= TAIL);
    [low, high]
}

/// The expected number of events that `count` seen ones leave possible with 95 % confidence, from
/// one side; of 0 it is `-ln 0.05`, 2.9957.
#[must_use]
pub fn upper_bound(count: u64) -> f64 {
    upper(count, 1.0 - CONFIDENCE)
}

/// Seconds that have to pass without an event before "fewer than `per_hour` an hour" holds with
/// 95 % confidence: `-ln 0.05 * 3600 / per_hour` (Hanley and Lippman-Hand, JAMA 249 (1983) 1743,
/// for rates). Infinite for 0.
#[must_use]
pub fn seconds_for_fewer_than(per_hour: f64) -> f64 {
    -(1.0 - CONFIDENCE).ln() * 3_600.0 / per_hour
}

/// The expectation under which `count` events or fewer have the chance `chance`.
fn upper(count: u64, chance: f64) -> f64 {
    let from = count as f64;
    // 40 deviations further on, no double holds the chance.
    let to = from + 40.0 * (from + 1.0).sqrt() + 40.0;
    solve([from, to], |mean| at_most(count, mean) <= chance)
}

/// The least mean in `range` from which on `holds`.
fn solve([mut low, mut high]: [f64; 2], holds: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if holds(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    high
}

/// Chance of `count` events or fewer where `mean` are expected, for `mean >= count`: the terms of
/// the sum fall from the last one down.
fn at_most(count: u64, mean: f64) -> f64 {
    let (mut term, mut sum, mut left) = (1.0, 1.0, count as f64);
    while left > 0.0 && term > f64::EPSILON * sum {
        term *= left / mean;
        sum += term;
        left -= 1.0;
    }
    sum * exactly(count, mean)
}

/// Chance of `count` events or more where `mean` are expected, for `mean <= count`.
fn at_least(count: u64, mean: f64) -> f64 {
    let (mut term, mut sum, mut next) = (1.0, 1.0, count as f64 + 1.0);
    while term > f64::EPSILON * sum {
        term *= mean / next;
        sum += term;
        next += 1.0;
    }
    sum * exactly(count, mean)
}

/// Chance of exactly `count` events.
fn exactly(count: u64, mean: f64) -> f64 {
    (count as f64 * mean.ln() - mean - ln_factorial(count)).exp()
}

/// `ln n!`, from 21 on by Stirling's series, whose next term is below 1e-12 there.
fn ln_factorial(n: u64) -> f64 {
    if n <= 20 {
        return (2..=n).map(|factor| (factor as f64).ln()).sum();
    }
    let n = n as f64;
    let series = (1.0 - (1.0 - 2.0 / (7.0 * n * n)) / (30.0 * n * n)) / (12.0 * n);
    (n + 0.5) * n.ln() - n + 0.5 * std::f64::consts::TAU.ln() + series
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn intervals_and_upper_bounds_of_0_to_20_events_are_the_published_ones_within_5e_5() {
        // Exact 95 % limits of Garwood's tables and one-sided 95 %, computed as chi-square
        // quantiles (SciPy 1.14, `chi2.ppf(p, 2 k) / 2`), four places.
        for (count, low, high, one_sided) in [
            (0, 0.0, 3.6889, 2.9957),
            (1, 0.0253, 5.5716, 4.7439),
            (2, 0.2422, 7.2247, 6.2958),
            (3, 0.6187, 8.7673, 7.7537),
            (4, 1.0899, 10.2416, 9.1535),
            (5, 1.6235, 11.6683, 10.5130),
            (10, 4.7954, 18.3904, 16.9622),
            (20, 12.2165, 30.8884, 29.0620),
        ] {
            let found = [interval(count)[0], interval(count)[1], upper_bound(count)];
            for (got, want) in found.iter().zip([low, high, one_sided]) {
                assert!((got - want).abs() < 5e-5, "{count}: {got}, want {want}");
            }
        }
    }

    #[test]
    fn a_million_events_lie_within_1_96_deviations_plus_the_skew() {
        // Expansion of the chi-square quantile (Wilson and Hilferty, 1931), good to 0.01 here.
        let [low, high] = interval(1_000_000);
        let cube = |k: f64, z: f64| k * (1.0 - 1.0 / (9.0 * k) + z / (3.0 * k.sqrt())).powi(3);
        let z = 1.959_963_984_540_054;
        assert!((low - cube(1e6, -z)).abs() < 0.01, "{low}");
        assert!((high - cube(1e6 + 1.0, z)).abs() < 0.01, "{high}");
    }

    #[test]
    fn fewer_than_one_an_hour_takes_10_785_s_and_one_a_day_72_hours() {
        assert!((seconds_for_fewer_than(1.0).ceil() - 10_785.0).abs() < 1e-9);
        let hours = seconds_for_fewer_than(1.0 / 24.0) / 3_600.0;
        assert!((hours - 71.897).abs() < 1e-3, "{hours}");
        assert!(seconds_for_fewer_than(0.0).is_infinite());
    }
}
