//! The transmitter: what bends the sound.
//!
//! In this order, each without memory: hard clipping at ± c; soft clipping c tanh(x / c);
//! y = x + a2 x² + a3 x³ + …. They work on the samples as they are: harmonics above half the rate
//! fold back, as they do in a link that clips in its converter's numbers.

use std::f64::consts::TAU;

use super::{factor_of_db, settings::LinkSettings};

/// Points of a period in [`Transmitter::harmonics`].
const POINTS: usize = 1 << 14;

/// What the transmitter of one link does.
#[derive(Debug, Clone, PartialEq)]
pub struct Transmitter {
    hard_peak: Option<f64>,
    soft_peak: Option<f64>,
    /// a2 and on.
    polynomial: Vec<f64>,
}

impl Transmitter {
    /// The transmitter that the settings describe.
    pub fn new(settings: &LinkSettings) -> Self {
        Self {
            hard_peak: settings.hard_clip_dbfs.map(factor_of_db),
            soft_peak: settings.soft_clip_dbfs.map(factor_of_db),
            polynomial: settings.polynomial.clone(),
        }
    }

    /// Bends a block in place.
    pub fn process(&self, block: &mut [f64]) {
        if let Some(peak) = self.hard_peak {
            block.iter_mut().for_each(|x| *x = x.clamp(-peak, peak));
        }
        if let Some(peak) = self.soft_peak {
            block
                .iter_mut()
                .for_each(|x| *x = peak * (*x / peak).tanh());
        }
        if !self.polynomial.is_empty() {
            block.iter_mut().for_each(|x| *x = self.bend(*x));
        }
    }

    /// x + x² (a2 + x (a3 + x (…))).
    fn bend(&self, x: f64) -> f64 {
        x + x * x * self.polynomial.iter().rev().fold(0.0, |sum, a| a + x * sum)
    }

    /// Amplitudes of the first 10 harmonics, signed, that a cosine of this peak has afterwards:
    /// (2/T) ∫ y(t) cos(2π k t / T) dt, by the rectangle rule over one period. It is exact for
    /// polynomials. Of a clipped cosine, harmonics near multiples of N points fold back; they are at
    /// most (4/π) / n² of the peak, two at each multiple, in all (8/π) / N² · π²/6 = 1.6e-8.
    pub fn harmonics(&self, peak: f64) -> [f64; 10] {
        // Half a step off the peak, so that the points are even about it.
        let angle = |n: usize| TAU * (n as f64 + 0.5) / POINTS as f64;
        let mut period: Vec<f64> = (0..POINTS).map(|n| peak * angle(n).cos()).collect();
        self.process(&mut period);
        std::array::from_fn(|k| {
            let order = (k + 1) as f64;
            let sum: f64 = period
                .iter()
                .enumerate()
                .map(|(n, y)| y * (order * angle(n)).cos())
                .sum();
            2.0 * sum / POINTS as f64
        })
    }
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use proptest::prelude::*;

    use super::*;

    fn transmitter(settings: LinkSettings) -> Transmitter {
        Transmitter::new(&settings)
    }

    /// Amplitude of an odd harmonic of a cosine of peak 1 that is clipped hard at `ceiling` = cos φ.
    ///
    /// By parts: (1 / π n) (I(n - 1) - I(n + 1)) with I(m) = ∫ cos mθ dθ from φ to π - φ.
    fn clipped_harmonic(ceiling: f64, order: f64) -> f64 {
        let phi = ceiling.acos();
        let integral = |m: f64| {
            if m == 0.0 {
                PI - 2.0 * phi
            } else {
                (((PI - phi) * m).sin() - (phi * m).sin()) / m
            }
        };
        (integral(order - 1.0) - integral(order + 1.0)) / (PI * order)
    }

    proptest! {
        #[test]
        fn hard_clipping_has_the_harmonics_of_the_closed_form(clip_dbfs in -30.0_f64..-0.1) {
            let settings = LinkSettings { hard_clip_dbfs: Some(clip_dbfs), ..LinkSettings::default() };
            let got = transmitter(settings).harmonics(1.0);
            for (k, got) in got.iter().enumerate() {
                let order = (k + 1) as f64;
                let want = if k % 2 == 0 { clipped_harmonic(factor_of_db(clip_dbfs), order) } else { 0.0 };
                prop_assert!((got - want).abs() < 1.6e-8, "harmonic {order}: got {got}, want {want}");
            }
        }

        #[test]
        fn a_polynomial_has_the_harmonics_of_the_multiple_angles(
            a2 in -0.1_f64..0.1, a3 in -0.1_f64..0.1, peak in 0.01_f64..1.0,
        ) {
            // cos² = (1 + cos 2θ) / 2, cos³ = (3 cos θ + cos 3θ) / 4.
            let settings = LinkSettings { polynomial: vec![a2, a3], ..LinkSettings::default() };
            let got = transmitter(settings).harmonics(peak);
            let want = [
                peak + 0.75 * a3 * peak.powi(3),
                0.5 * a2 * peak.powi(2),
                0.25 * a3 * peak.powi(3),
                0.0,
            ];
            for (got, want) in got.iter().zip(want) {
                prop_assert!((got - want).abs() < 1e-13, "got {got}, want {want}");
            }
        }
    }

    #[test]
    fn soft_clipping_keeps_small_sounds_and_never_passes_its_peak() {
        let settings = LinkSettings {
            soft_clip_dbfs: Some(-20.0),
            ..LinkSettings::default()
        };
        let mut block = [1e-4, 0.1, 1000.0];
        transmitter(settings).process(&mut block);
        // tanh x = x - x³/3: 1e-4 / 0.1 loses a third of a millionth.
        assert!((block[0] / 1e-4 - (1.0 - 1e-6 / 3.0)).abs() < 1e-9);
        assert!((block[1] - 0.1 * 1.0_f64.tanh()).abs() < 1e-15);
        assert!((block[2] - 0.1).abs() < 1e-15);
    }
}
