//! The largest of noisy values minus the smallest.

use super::largest::normal_share;

/// Shares that one and two standard deviations of a normal variable hold.
const HELD: [f64; 2] = [0.682_689, 0.954_500];
/// Step of the integral, and how far it reaches to either side, in standard deviations.
const STEP: f64 = 0.1;
const REACH: i32 = 80;

/// What `count` equal values make of noise of one standard deviation, as `[known, sigma]`: their
/// range `w` tells `sqrt(w^2 - known^2)`, 0 where that is below, with the deviation `sigma`.
///
/// A range is never below 0, so that no normal deviation fits it. These two are such that equal
/// values are told as 0 within one and two `sigma` in the shares that a normal deviation holds:
/// `known^2 + sigma^2` and `known^2 + 4 sigma^2` are the squares of the quantiles 0.683 and 0.954
/// of the range's distribution. For two values that is `[0, sqrt(2)]`. Own derivation; at least
/// two values.
#[must_use]
pub fn range_of_noise(count: usize) -> [f64; 2] {
    let [one, two] = HELD.map(|share| range_quantile(count, share).powi(2));
    let sigma_square = (two - one) / 3.0;
    [(one - sigma_square).max(0.0).sqrt(), sigma_square.sqrt()]
}

/// The range that `count` values of standard normal noise stay below with probability `share`, by
/// bisection.
fn range_quantile(count: usize, share: f64) -> f64 {
    let (mut low, mut high) = (0.0, 12.0);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if range_share(count, middle) < share {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// Probability that the range of `count` values of standard normal noise is below `range`:
/// `n integral p(x) (P(x + w) - P(x))^(n - 1) dx` (Hartley, Biometrika 32, 1942, from memory;
/// held against tabled points in the test).
fn range_share(count: usize, range: f64) -> f64 {
    let density = |x: f64| (-0.5 * x * x).exp() / std::f64::consts::TAU.sqrt();
    let within = |x: f64| normal_share(x + range) - normal_share(x);
    let sum: f64 = (-REACH..=REACH)
        .map(|place| f64::from(place) * STEP)
        .map(|x| density(x) * within(x).max(0.0).powf(count as f64 - 1.0))
        .sum();
    count as f64 * sum * STEP
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::noise::gaussian;

    #[test]
    fn points_of_5_percent_of_the_range_of_2_3_4_and_10_values_are_those_of_the_tables() {
        // Studentized range at infinitely many degrees of freedom, as in statistics handbooks
        // (Pearson and Hartley, Biometrika Tables for Statisticians; from memory).
        for (count, want) in [(2, 2.772), (3, 3.314), (4, 3.633), (10, 4.474)] {
            let got = range_quantile(count, 0.95);
            assert!((got - want).abs() < 1.5e-3, "{count}: {got}");
        }
    }

    #[test]
    fn equal_values_in_noise_are_told_as_0_within_one_and_two_deviations_in_68_and_95_percent() {
        for count in [2usize, 4, 10] {
            let [known, sigma] = range_of_noise(count);
            let (mut held, seeds) = ([0.0; 2], 2_000);
            for seed in 0..seeds {
                let values = || (0..count).map(|n| gaussian(seed, n as u64));
                let range = values().fold(f64::MIN, f64::max) - values().fold(f64::MAX, f64::min);
                let told = (range * range - known * known).max(0.0).sqrt();
                held[0] += f64::from(u8::from(told <= sigma)) / seeds as f64;
                held[1] += f64::from(u8::from(told <= 2.0 * sigma)) / seeds as f64;
            }
            // Four standard deviations of a binomial share of 2,000.
            assert!((held[0] - HELD[0]).abs() < 0.042, "{count}: {held:?}");
            assert!((held[1] - HELD[1]).abs() < 0.019, "{count}: {held:?}");
        }
    }
}
