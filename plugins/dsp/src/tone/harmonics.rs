//! Harmonics against their fundamental: the link's own, as ratios and in dB.

use rustfft::num_complex::Complex64;

use super::fit::ToneFit;

/// A number with one standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The number.
    pub value: f64,
    /// One standard deviation, 0 or more.
    pub uncertainty: f64,
}

/// Harmonics of one tone, normalised by their fundamental: `c_k = H_k exp(-j k p) / |H_1|`, with
/// `p` the phase of `H_1`, so that delay and gain drop out.
#[derive(Debug, Clone, PartialEq)]
pub struct RelativeHarmonics {
    /// `c_2`, `c_3` and so on.
    ratios: Vec<Complex64>,
    /// Variance of each, both components together.
    variances: Vec<f64>,
}

impl RelativeHarmonics {
    /// Normalises the harmonics of a fit whose fundamental is not zero.
    #[must_use]
    pub fn of(fit: &ToneFit) -> Self {
        let fundamental = fit.harmonics[0];
        let power = fundamental.norm_sqr();
        let back = fundamental.conj() / fundamental.norm();
        let mut turn = back;
        let (mut ratios, mut variances) = (Vec::new(), Vec::new());
        for (k, (harmonic, variance)) in
            fit.harmonics.iter().zip(&fit.variances).enumerate().skip(1)
        {
            turn *= back;
            let ratio = harmonic * turn / power.sqrt();
            let order = (k + 1) as f64;
            // The fundamental's own noise turns and scales the ratio.
            let scaled = ratio.norm_sqr() * (1.0 + order * order) * fit.variances[0] / 2.0;
            ratios.push(ratio);
            variances.push((variance + scaled) / power);
        }
        Self { ratios, variances }
    }

    /// What is left when the same harmonics of another tone are subtracted as complex amplitudes;
    /// orders that only one of them has stay as they are.
    #[must_use]
    pub fn minus(&self, other: &Self) -> Self {
        let mut left = self.clone();
        for (ratio, other) in left.ratios.iter_mut().zip(&other.ratios) {
            *ratio -= other;
        }
        for (variance, other) in left.variances.iter_mut().zip(&other.variances) {
            *variance += other;
        }
        left
    }

    /// Highest order that is known.
    #[must_use]
    pub fn order_max(&self) -> usize {
        self.ratios.len() + 1
    }

    /// Total harmonic distortion re the fundamental, orders 2 to `order_max`, as a ratio.
    ///
    /// `sqrt(sum of (|c_k|² - s_k²))`: what noise of the variance `s_k²` adds to the power of each
    /// harmonic on average is taken off, down to zero.
    #[must_use]
    pub fn thd_ratio(&self, order_max: usize) -> Estimate {
        let counted = order_max.saturating_sub(1).min(self.ratios.len());
        let (mut power, mut variance) = (0.0, 0.0);
        for (ratio, noise) in self.ratios.iter().zip(&self.variances).take(counted) {
            let (one, one_variance) = power_without_noise(*ratio, *noise);
            power += one;
            variance += one_variance;
        }
        let (power, deviation) = (power.max(0.0), variance.sqrt());
        Estimate {
            value: power.sqrt(),
            // For strong harmonics the derivative; for none what the noise could hide.
            uncertainty: (power + deviation).sqrt() - power.sqrt(),
        }
    }

    /// Level of the harmonic of `order` (2 or more) re the fundamental in dB, noise taken off; no
    /// lower than the noise itself. `None` where the order is not known.
    #[must_use]
    pub fn level_db(&self, order: usize) -> Option<HarmonicLevel> {
        let ratio = *self.ratios.get(order.checked_sub(2)?)?;
        let noise = self.variances[order - 2];
        let (power, variance) = power_without_noise(ratio, noise);
        let shown = power.max(noise);
        Some(HarmonicLevel {
            level_db: Estimate {
                value: 10.0 * shown.log10(),
                uncertainty: 10.0 * (1.0 + variance.sqrt() / shown).log10(),
            },
            stands: power > 2.0 * variance.sqrt(),
        })
    }
}

/// Level of one harmonic.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HarmonicLevel {
    /// Level re the fundamental in dB.
    pub level_db: Estimate,
    /// False where it does not stand clear of the noise: by two standard deviations of its power.
    pub stands: bool,
}

/// Power of a harmonic without what the noise adds on average, and the variance of that.
///
/// For `c + n` with complex Gaussian noise of variance `s²`: the mean of `|c + n|²` is
/// `|c|² + s²`, its variance `2 |c|² s² + s⁴`.
fn power_without_noise(ratio: Complex64, noise: f64) -> (f64, f64) {
    let power = ratio.norm_sqr() - noise;
    (power, 2.0 * power.max(0.0) * noise + noise * noise)
}
