//! The largest of many noisy values.

use super::curve::Level;

/// A value that may be the largest of a band.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rival {
    /// The value as measured, in dB, and its standard deviation.
    pub level: Level,
    /// The same value averaged over its neighbourhood, in dB: nearer to what is true.
    pub smooth_db: f64,
    /// How many independent values it stands for; below 1 where neighbours share their noise.
    pub cells: f64,
}

/// Index of the value largest in magnitude, and that value with the noise taken out that comes of
/// choosing it.
///
/// The largest of N equal values of normal noise lies at the `p` quantile of one value with
/// `p = q^(1/N)`, q from 0 to 1: its median is taken off, and half of what lies between the
/// quantiles 0.16 and 0.84 is the standard deviation. N counts the rivals that are as large in
/// truth, by their smoothed values: `sum cells exp(-(difference / sigma)^2 / 2)`; twice where
/// both signs are likely. One value that is the largest by far stays what it is; what noise
/// alone would give is 0. Own derivation
/// from order statistics. `None` for no rivals.
#[must_use]
pub fn largest(rivals: &[Rival]) -> Option<(usize, Level)> {
    let index = (0..rivals.len()).max_by(|&a, &b| {
        let off = |index: usize| rivals[index].level.db.abs();
        off(a).total_cmp(&off(b))
    })?;
    let chosen = &rivals[index];
    let sigma_db = chosen.level.sigma_db.max(1e-12);
    let sign = chosen.level.db.signum();
    let top_db = rivals
        .iter()
        .map(|rival| rival.smooth_db * sign)
        .fold(f64::NEG_INFINITY, f64::max);
    let likely = |apart_db: f64| (-0.5 * (apart_db / sigma_db).powi(2)).exp();
    let count: f64 = rivals
        .iter()
        .map(|rival| {
            let same = likely(rival.smooth_db * sign - top_db);
            let other = likely((-rival.smooth_db * sign - top_db).min(0.0));
            rival.cells * (same + other)
        })
        .sum();
    let at = |share: f64| normal_quantile(share.powf(1.0 / count.max(1.0)));
    let level = Level {
        db: sign * (chosen.level.db.abs() - at(0.5) * sigma_db).max(0.0),
        sigma_db: 0.5 * (at(0.841_3) - at(0.158_7)) * sigma_db,
    };
    Some((index, level))
}

/// The value that a standard normal variable stays below with probability `share`, by bisection.
fn normal_quantile(share: f64) -> f64 {
    let (mut low, mut high) = (-8.0, 8.0);
    for _ in 0..50 {
        let middle = 0.5 * (low + high);
        if normal_share(middle) < share {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// Share of a standard normal distribution below `x`; off by less than 7.5e-8 (Abramowitz and
/// Stegun 26.2.17, from memory, held against scipy.stats.norm in the test).
pub(super) fn normal_share(x: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.231_641_9 * x.abs());
    let series = [
        0.319_381_530,
        -0.356_563_782,
        1.781_477_937,
        -1.821_255_978,
        1.330_274_429,
    ];
    let sum = series
        .iter()
        .rev()
        .fold(0.0, |sum, factor| (sum + factor) * t);
    let beyond = (-0.5 * x * x).exp() / std::f64::consts::TAU.sqrt() * sum;
    if x > 0.0 { 1.0 - beyond } else { beyond }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::noise::gaussian;

    #[test]
    fn shares_of_the_normal_distribution_are_those_of_the_tables() {
        // scipy.stats.norm.cdf(1), ppf(0.975), ppf(0.999).
        assert!((normal_share(1.0) - 0.841_344_746).abs() < 1e-7);
        assert!((normal_quantile(0.975) - 1.959_963_985).abs() < 1e-5);
        assert!((normal_quantile(0.999) - 3.090_232_306).abs() < 1e-4);
    }

    #[test]
    fn the_largest_of_40_equal_values_in_noise_is_neither_high_nor_sure() {
        let (mut sum, mut held, seeds) = (0.0, 0, 400);
        for seed in 0..seeds {
            let rivals: Vec<Rival> = (0..40)
                .map(|n| Rival {
                    level: Level {
                        db: 1.0 + 0.1 * gaussian(seed, n),
                        sigma_db: 0.1,
                    },
                    smooth_db: 1.0,
                    cells: 1.0,
                })
                .collect();
            let (_, level) = largest(&rivals).unwrap();
            sum += (level.db - 1.0) / f64::from(seeds as u32);
            held += u32::from((level.db - 1.0).abs() < level.sigma_db);
        }
        assert!(sum.abs() < 0.02, "in the mean {sum} dB off");
        // 68.3 % of 400, give or take four times sqrt(400 0.68 0.32).
        assert!((236..=310).contains(&held), "{held} of 400 held");
    }
}
