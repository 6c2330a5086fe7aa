//! Reads sines of known frequencies that sound at once.

use std::f64::consts::TAU;

use rustfft::FftPlanner;
use rustfft::num_complex::Complex64;

use super::residual::{noise_density, transform_length};
use crate::window::kaiser;

/// Shape of the Kaiser window: its side lobes lie below -115 dB and fall with 6 dB an octave.
const BETA: f64 = 16.0;

/// Half width of its main lobe in cycles over the piece, `sqrt(1 + (beta / pi)²)` = 5.2, and a
/// little: lines nearer than this to one another cannot be told apart.
const MAIN_LOBE: f64 = 6.0;

/// Nearest and farthest neighbours that tell the noise beside a line, in cycles over the piece.
const NEIGHBOURS: [f64; 2] = [8.0, 30.0];

/// One sine: `x(t) = Re(H exp(j 2 pi c t))`, `t` counted in samples from the middle of the piece.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Complex peak amplitude, full scale = 1.
    pub amplitude: Complex64,
    /// Its variance, both components together, from the noise beside it.
    pub variance: f64,
}

/// Reads lines from pieces of sound; keeps window and plans from one piece to the next.
pub struct LineReader {
    planner: FftPlanner<f64>,
    window: Vec<f64>,
}

impl Default for LineReader {
    fn default() -> Self {
        Self::new()
    }
}

impl LineReader {
    /// Makes a reader.
    #[must_use]
    pub fn new() -> Self {
        Self {
            planner: FftPlanner::new(),
            window: Vec::new(),
        }
    }

    /// The sines at `cycles` (each in cycles per sample, above 0 and below 1/2, at least
    /// [`LineReader::apart`] from each other and from 0).
    ///
    /// `H = 2 sum(w x exp(-j 2 pi c t)) / sum(w)` under a Kaiser window; the variance is
    /// `4 s² sum(w²) / sum(w)²` with `s²` the variance of white noise as dense as the median
    /// neighbour, and no less than the rounding of `f32`. `None` for less than 64 samples or where
    /// one is not finite. Silence gives amplitudes of zero.
    pub fn read(&mut self, samples: &[f32], cycles: &[f64]) -> Option<Vec<Line>> {
        let count = samples.len();
        if count < 64 || samples.iter().any(|sample| !sample.is_finite()) {
            return None;
        }
        if self.window.len() != count {
            let middle = (count as f64 - 1.0) / 2.0;
            self.window = (0..count)
                .map(|n| kaiser((n as f64 - middle) / (middle + 0.5), BETA))
                .collect();
        }
        let weighed: Vec<f64> = (samples.iter().zip(&self.window))
            .map(|(&sample, weight)| weight * f64::from(sample))
            .collect();
        let density = self.density(&weighed);
        let sum: f64 = self.window.iter().sum();
        let square_sum: f64 = self.window.iter().map(|w| w * w).sum();
        let amplitudes: Vec<Complex64> = (cycles.iter())
            .map(|&cycles| 2.0 / sum * project(&weighed, cycles))
            .collect();
        let power: f64 = amplitudes.iter().map(Complex64::norm_sqr).sum();
        let rounding = power * f64::from(f32::EPSILON).powi(2) / 48.0;
        let share = 4.0 * square_sum / (sum * sum);
        Some(
            (amplitudes.into_iter().enumerate())
                .map(|(own, amplitude)| Line {
                    amplitude,
                    variance: share * (variance_beside(&density, count, cycles, own) + rounding),
                })
                .collect(),
        )
    }

    /// How far lines have to be apart in a piece of `sample_count`, in cycles per sample.
    #[must_use]
    pub fn apart(sample_count: usize) -> f64 {
        2.0 * MAIN_LOBE / sample_count as f64
    }

    /// Each bin as the variance of white noise that were as dense as this bin.
    fn density(&mut self, weighed: &[f64]) -> Vec<f64> {
        let length = transform_length(weighed.len());
        let mut bins: Vec<Complex64> = weighed.iter().map(|&x| x.into()).collect();
        bins.resize(length, Complex64::default());
        self.planner.plan_fft_forward(length).process(&mut bins);
        let square_sum: f64 = self.window.iter().map(|w| w * w).sum();
        bins.truncate(length / 2);
        bins.iter().map(|bin| bin.norm_sqr() / square_sum).collect()
    }
}

/// `sum of x exp(-j 2 pi c t)`, `t` from the middle of the piece.
fn project(samples: &[f64], cycles: f64) -> Complex64 {
    /// Phasors are turned from sample to sample and set anew after so many.
    const TURNED: usize = 512;
    let turn = Complex64::cis(-TAU * cycles);
    let first = -(samples.len() as f64 - 1.0) / 2.0;
    let mut sum = Complex64::default();
    for (piece, samples) in samples.chunks(TURNED).enumerate() {
        let time = first + (piece * TURNED) as f64;
        let mut phasor = Complex64::cis(-TAU * (cycles * time).fract());
        for &sample in samples {
            sum += sample * phasor;
            phasor *= turn;
        }
    }
    sum
}

/// Noise beside line `own` of `lines`, from bins that hold none of the others.
fn variance_beside(density: &[f64], sample_count: usize, lines: &[f64], own: usize) -> f64 {
    let per_bin = sample_count as f64 / (2.0 * density.len() as f64);
    let [near, far] = NEIGHBOURS;
    let at = |cycles: f64| cycles * sample_count as f64;
    let others = || (0..lines.len()).filter(|&other| other != own);
    let free = |place: f64| others().all(|other| (place - at(lines[other])).abs() > MAIN_LOBE);
    let first = ((at(lines[own]) - far) / per_bin).max(0.0) as usize;
    let last = ((at(lines[own]) + far) / per_bin) as usize;
    let mut beside: Vec<f64> = (first..=last.min(density.len() - 1))
        .map(|bin| (bin, bin as f64 * per_bin))
        .filter(|&(_, place)| (place - at(lines[own])).abs() >= near && free(place))
        .map(|(bin, _)| density[bin])
        .collect();
    noise_density(&mut beside)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::noise::gaussian;

    const RATE_HZ: f64 = 48_000.0;

    fn chord(count: usize, sines: &[(f64, f64, f64)], noise: f64, seed: u64) -> Vec<f32> {
        let middle = (count as f64 - 1.0) / 2.0;
        (0..count)
            .map(|n| {
                let t = (n as f64 - middle) / RATE_HZ;
                let sum: f64 = (sines.iter())
                    .map(|&(hz, peak, phase)| peak * (TAU * hz * t + phase).cos())
                    .sum();
                (sum + noise * gaussian(seed, n as u64)) as f32
            })
            .collect()
    }

    #[test]
    fn lines_60_hz_beside_one_of_0_8_are_read_within_1e_8_of_full_scale() {
        let sines = [
            (60.0, 0.8, 0.3),
            (7_000.0, 0.2, 1.0),
            (7_060.0, 1e-4, -2.0),
            (6_940.0, 3e-5, 0.5),
        ];
        let samples = chord(44_000, &sines, 0.0, 1);
        let cycles: Vec<f64> = sines.iter().map(|sine| sine.0 / RATE_HZ).collect();
        let lines = LineReader::new().read(&samples, &cycles).unwrap();
        for (line, (hz, peak, phase)) in lines.iter().zip(sines) {
            let off = (line.amplitude - Complex64::from_polar(peak, phase)).norm();
            assert!(off < 1e-8, "{hz} Hz: {off}");
        }
    }

    #[test]
    fn variance_of_a_line_is_that_of_its_scatter_within_a_fifth_over_200_seeds() {
        let (mut scatter, mut told) = (0.0, 0.0);
        let mut reader = LineReader::new();
        for seed in 0..200 {
            let samples = chord(9_600, &[(997.0, 0.1, 0.0)], 1e-3, seed);
            let line = reader.read(&samples, &[997.0 / RATE_HZ]).unwrap()[0];
            scatter += (line.amplitude - 0.1).norm_sqr() / 200.0;
            told += line.variance / 200.0;
        }
        // 400 degrees of freedom scatter by 7 %; three times that.
        assert!((scatter / told - 1.0).abs() < 0.21, "{scatter}, {told}");
    }

    #[test]
    fn what_is_too_short_or_not_finite_gives_nothing_and_silence_zero() {
        let mut reader = LineReader::new();
        assert_eq!(reader.read(&[0.0; 63], &[0.1]), None);
        assert_eq!(reader.read(&[f32::NAN; 640], &[0.1]), None);
        let line = reader.read(&[0.0; 640], &[0.1]).unwrap()[0];
        assert_eq!((line.amplitude.norm(), line.variance), (0.0, 0.0));
    }
}
