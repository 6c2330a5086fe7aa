//! Fits a tone with its harmonics to samples by weighted least squares.

use rustfft::FftPlanner;
use rustfft::num_complex::Complex64;

use super::projection::{project, project_about_middle, subtract_about_middle};
use super::residual::Residual;
use super::solve::{solve_cosines, solve_sines};
use super::taper::Taper;
use crate::turn::turns;

/// Harmonics that one fit can tell, the fundamental being the first.
pub const HARMONIC_COUNT_MAX: usize = 10;

/// A tone in a piece of sound: `x(t) = dc + Re(sum of H_k exp(j k w t)) + residual`, `t` counted in
/// samples from the middle of the piece.
#[derive(Debug, Clone)]
pub struct ToneFit {
    /// Frequency of the fundamental in cycles per sample, as found.
    pub cycles_per_sample: f64,
    /// Mean of the piece, full scale = 1.
    pub dc: f64,
    /// Complex peak amplitudes `H_1`, `H_2` and so on, full scale = 1.
    pub harmonics: Vec<Complex64>,
    /// Variance of each amplitude, both components together, from the noise beside it.
    pub variances: Vec<f64>,
    /// What is left without direct current and harmonics.
    pub residual: Residual,
}

impl ToneFit {
    /// Peak amplitude of the fundamental, full scale = 1.
    #[must_use]
    pub fn amplitude(&self) -> f64 {
        self.harmonics[0].norm()
    }

    /// Standard deviation of the fundamental's amplitude: one component of two.
    #[must_use]
    pub fn amplitude_uncertainty(&self) -> f64 {
        (self.variances[0] / 2.0).sqrt()
    }

    /// True where the fundamental stands at least 20 dB above what noise alone gives.
    #[must_use]
    pub fn stands(&self) -> bool {
        self.amplitude() > 10.0 * self.variances[0].sqrt()
    }
}

/// Fits tones; keeps windows and the plans of its Fourier transforms from one fit to the next.
pub struct ToneFitter {
    planner: FftPlanner<f64>,
    windows: Windows,
}

/// What weighs the samples, for pieces of one length.
#[derive(Default)]
struct Windows {
    taper: Vec<f64>,
    /// Hann window of the whole piece.
    whole: Vec<f64>,
    /// Hann window of half of it.
    half: Vec<f64>,
}

impl Windows {
    fn new(count: usize) -> Self {
        Self {
            taper: Taper::new(count).weights(),
            whole: hann(count),
            half: hann(count / 2),
        }
    }
}

/// `sin²(pi (n + 1/2) / count)`.
fn hann(count: usize) -> Vec<f64> {
    let turn = std::f64::consts::PI / count as f64;
    turns(turn, 2.0 * turn)
        .take(count)
        .map(|angle| 0.5 - 0.5 * angle.re)
        .collect()
}

impl Default for ToneFitter {
    fn default() -> Self {
        Self::new()
    }
}

impl ToneFitter {
    /// Makes a fitter.
    #[must_use]
    pub fn new() -> Self {
        Self {
            planner: FftPlanner::new(),
            windows: Windows::default(),
        }
    }

    /// Fits a tone near `cycles_per_sample` with as many harmonics as lie below 0.49 of the rate,
    /// at most [`HARMONIC_COUNT_MAX`].
    ///
    /// Least squares with the weight [`Taper`]: unbiased between its own harmonics however few
    /// periods the piece holds, variance 54/49 of the Cramér-Rao bound of the piece in white noise
    /// (Rife and Boorstyn, IEEE T-IT 20 (1974)). The frequency is refined by up to a quarter of a
    /// cycle over the piece, so that a clock that is a little off biases no amplitude.
    ///
    /// `None` where the piece holds less than four periods or 64 samples, where the frequency is
    /// not between 0 and 0.49, or where a sample is not finite. Silence gives amplitudes of zero.
    pub fn fit(&mut self, samples: &[f32], cycles_per_sample: f64) -> Option<ToneFit> {
        let count = samples.len();
        let in_range = 0.0 < cycles_per_sample && cycles_per_sample < 0.49;
        let long_enough = count >= 64 && cycles_per_sample * count as f64 >= 4.0;
        if !in_range || !long_enough || samples.iter().any(|sample| !sample.is_finite()) {
            return None;
        }
        if self.windows.taper.len() != count {
            self.windows = Windows::new(count);
        }
        let windows = &self.windows;
        let cycles = refine(samples, cycles_per_sample, &windows.half);
        let harmonic_count = ((0.49 / cycles) as usize).clamp(1, HARMONIC_COUNT_MAX);
        let taper = Taper::new(count);
        let (dc, harmonics) =
            fit_harmonics(samples, &taper, &windows.taper, cycles, harmonic_count);
        let left = subtract_about_middle(samples, cycles, dc, &harmonics);
        let residual = Residual::new(&mut self.planner, &left, &windows.whole, cycles);
        let variances = variances(&residual, &taper, cycles, &harmonics);
        Some(ToneFit {
            cycles_per_sample: cycles,
            dc,
            harmonics,
            variances,
            residual,
        })
    }
}

/// Variance of each amplitude: `4 s² sum(w²) / sum(w)²`, where `s²` is the variance of white noise
/// as dense as the residual is beside the harmonic, and no less than the rounding of `f32`.
fn variances(residual: &Residual, taper: &Taper, cycles: f64, harmonics: &[Complex64]) -> Vec<f64> {
    let share = 4.0 * taper.square_sum() / taper.sum().powi(2);
    let rounding = (harmonics[0].norm() * f64::from(f32::EPSILON)).powi(2) / 48.0;
    (1..=harmonics.len())
        .map(|k| share * (residual.variance_beside(k as f64 * cycles, cycles) + rounding))
        .collect()
}

/// Refines a frequency by the phase that the fundamental gains from the first half to the second;
/// `window` weighs each half.
fn refine(samples: &[f32], cycles_per_sample: f64, window: &[f64]) -> f64 {
    let half = window.len();
    let mut cycles = cycles_per_sample;
    for _ in 0..2 {
        let early = project(&samples[..half], window, cycles, 0.0);
        let late = project(&samples[half..2 * half], window, cycles, half as f64);
        let gained = (late * early.conj()).arg() / std::f64::consts::TAU;
        cycles += gained / half as f64;
    }
    let moved_cycles = (cycles - cycles_per_sample) * samples.len() as f64;
    if moved_cycles.abs() <= 0.25 {
        cycles
    } else {
        // So far off only noise is: the frequency that was played is the better guess.
        cycles_per_sample
    }
}

/// Solves for direct current and harmonics.
fn fit_harmonics(
    samples: &[f32],
    taper: &Taper,
    weights: &[f64],
    cycles: f64,
    harmonic_count: usize,
) -> (f64, Vec<Complex64>) {
    let sums: Vec<f64> = (0..=2 * harmonic_count)
        .map(|k| taper.cosine_sum(std::f64::consts::TAU * cycles * k as f64))
        .collect();
    let (mut cosines, mut sines) = project_about_middle(samples, weights, cycles);
    cosines.truncate(harmonic_count + 1);
    sines.truncate(harmonic_count + 1);
    let cosines = solve_cosines(&sums, cosines);
    let sines = solve_sines(&sums, sines.split_off(1));
    let harmonics = (cosines[1..].iter().zip(&sines))
        .map(|(&cosine, &sine)| Complex64::new(cosine, -sine))
        .collect();
    (cosines[0], harmonics)
}
