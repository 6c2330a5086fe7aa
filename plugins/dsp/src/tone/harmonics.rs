//! Harmonics against their fundamental: the link's own, as ratios and in dB.

use rustfft::num_complex::Complex64;

use super::fit::ToneFit;
use super::power::NoisyPower;

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
    /// Normalises the harmonics of a fit whose fundamental is not zero, of a sound whose polarity
    /// (1 or -1) is known: that of an inverted one would turn the harmonics of even order round.
    #[must_use]
    pub fn of(fit: &ToneFit, polarity: f64) -> Self {
        let fundamental = fit.harmonics[0] * polarity;
        let power = fundamental.norm_sqr();
        let back = fundamental.conj() / fundamental.norm();
        let mut turn = back;
        let (mut ratios, mut variances) = (Vec::new(), Vec::new());
        for (harmonic, variance) in fit.harmonics.iter().zip(&fit.variances).skip(1) {
            turn *= back;
            let ratio = harmonic * polarity * turn / power.sqrt();
            // The fundamental's own noise scales the ratio; that it turns it too moves no power.
            let scaled = ratio.norm_sqr() * fit.variances[0];
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

    /// Power of the harmonics of orders 2 to `order_max` re the fundamental's: the square of the total
    /// harmonic distortion, `sum of (|c_k|² - s_k²)`.
    #[must_use]
    pub fn thd_power(&self, order_max: usize) -> NoisyPower {
        NoisyPower::sum((2..=order_max).filter_map(|order| self.power(order)))
    }

    /// Total harmonic distortion re the fundamental, orders 2 to `order_max`, as a ratio: what noise
    /// adds to the power of the harmonics on average is taken off, down to zero.
    #[must_use]
    pub fn thd_ratio(&self, order_max: usize) -> Estimate {
        let power = self.thd_power(order_max);
        let value = power.amplitude();
        Estimate {
            value,
            // For strong harmonics the derivative; for none what the noise could hide.
            uncertainty: (value * value + power.deviation()).sqrt() - value,
        }
    }

    /// Power of the harmonic of `order` (2 or more) re the fundamental's. `None` where the order is
    /// not known.
    #[must_use]
    pub fn power(&self, order: usize) -> Option<NoisyPower> {
        let index = order.checked_sub(2)?;
        let ratio = self.ratios.get(index)?;
        Some(NoisyPower::of(ratio.norm_sqr(), self.variances[index]))
    }
}
