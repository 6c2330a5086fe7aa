//! The weight of a fit: flat in the middle, cosine tapers at both ends.

use std::f64::consts::PI;

use crate::turn::turns;

/// A tapered-cosine (Tukey) weight of which an eighth at each end is taper.
///
/// `w(n) = (1 - cos(pi (n + 1/2) / p)) / 2` for the first `p` samples, mirrored at the end, 1 between.
/// Its noise bandwidth is 1.10 bins, and from ten bins on its side lobes fall with 18 dB an octave,
/// so that hum beside a tone does not reach into its harmonics.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Taper {
    sample_count: usize,
    taper_count: usize,
}

impl Taper {
    /// Lays the weight over `sample_count` samples.
    #[must_use]
    pub fn new(sample_count: usize) -> Self {
        Self {
            sample_count,
            taper_count: sample_count / 8,
        }
    }

    /// How many samples the weight spans.
    #[must_use]
    pub fn sample_count(&self) -> usize {
        self.sample_count
    }

    /// Where the weight's middle lies, in samples from the first: times of a fit count from there.
    #[must_use]
    pub fn middle(&self) -> f64 {
        (self.sample_count as f64 - 1.0) / 2.0
    }

    /// All weights in order, from 0 to 1.
    #[must_use]
    pub fn weights(&self) -> Vec<f64> {
        let mut weights = vec![1.0; self.sample_count];
        let turn = PI / self.taper_count.max(1) as f64;
        let rising = turns(turn / 2.0, turn).take(self.taper_count);
        for (index, angle) in rising.enumerate() {
            let weight = 0.5 - 0.5 * angle.re;
            weights[index] = weight;
            weights[self.sample_count - 1 - index] = weight;
        }
        weights
    }

    /// Sum of the weights.
    #[must_use]
    pub fn sum(&self) -> f64 {
        (self.sample_count - self.taper_count) as f64
    }

    /// Sum of the squared weights: `N - 5/4 p`, because a raised cosine's mean square is 3/8.
    #[must_use]
    pub fn square_sum(&self) -> f64 {
        self.sample_count as f64 - 1.25 * self.taper_count as f64
    }

    /// Sum over the weight of `cos(radians_per_sample * t)`, `t` from the middle, in closed form.
    #[must_use]
    pub fn cosine_sum(&self, radians_per_sample: f64) -> f64 {
        let (step, count) = (radians_per_sample, self.taper_count);
        let start = -step * self.middle();
        let flat_count = self.sample_count - 2 * count;
        let flat = cosine_series(start + step * count as f64, step, flat_count);
        if count == 0 {
            return flat;
        }
        let turn = PI / count as f64;
        let taper = 0.5 * cosine_series(start, step, count)
            - 0.25 * cosine_series(start + turn / 2.0, step + turn, count)
            - 0.25 * cosine_series(start - turn / 2.0, step - turn, count);
        flat + 2.0 * taper
    }
}

/// Sum of `cos(start + n * step)` for `n` from 0 to `count - 1` (Lagrange's identity).
fn cosine_series(start: f64, step: f64, count: usize) -> f64 {
    let half = step / 2.0;
    let count = count as f64;
    if half.sin().abs() < 1e-9 {
        // Whole turns from term to term: all terms are alike, to 1e-9 of one.
        return count * start.cos();
    }
    (count * half).sin() / half.sin() * (start + half * (count - 1.0)).cos()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closed_sums_of_1001_weights_agree_with_adding_them_up() {
        let taper = Taper::new(1001);
        let weights = taper.weights();
        assert!((weights.iter().sum::<f64>() - taper.sum()).abs() < 1e-9);
        let squares: f64 = weights.iter().map(|w| w * w).sum();
        assert!((squares - taper.square_sum()).abs() < 1e-9);
        for step in [0.0, 0.013, 0.13, 1.7, 3.1, 2.0 * PI] {
            let added: f64 = (weights.iter().enumerate())
                .map(|(n, w)| w * (step * (n as f64 - taper.middle())).cos())
                .sum();
            let closed = taper.cosine_sum(step);
            assert!(
                (added - closed).abs() < 1e-8,
                "{step}: {added} and {closed}"
            );
        }
    }

    #[test]
    fn noise_bandwidth_is_1_10_bins() {
        // (1 - 5/4 q) / (1 - q)² with a share q = 1/8 of taper at each end: 54/49.
        let taper = Taper::new(48_000);
        let bandwidth = taper.square_sum() * 48_000.0 / taper.sum().powi(2);
        assert!((bandwidth - 54.0 / 49.0).abs() < 1e-12, "{bandwidth}");
    }
}
