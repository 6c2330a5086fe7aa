//! Sums of samples times cosines and sines of a tone and its harmonics.

use std::f64::consts::TAU;

use rustfft::num_complex::Complex64;

use super::fit::HARMONIC_COUNT_MAX;
use crate::turn::turns;

/// Direct current, ten harmonics, and one lane that makes the number even.
const LANES: usize = HARMONIC_COUNT_MAX + 2;

/// Phasors are turned from sample to sample and set anew after so many, which keeps their error
/// below 1e-13.
const TURNED_SAMPLES: usize = 512;

/// `sum of weight * x * exp(-j w t)`; `first` is the time of the first sample.
pub(super) fn project(samples: &[f32], weights: &[f64], cycles: f64, first: f64) -> Complex64 {
    let angles = turns(-TAU * (cycles * first).fract(), -TAU * cycles);
    let weighted = samples.iter().zip(weights).zip(angles);
    weighted
        .map(|((&sample, weight), angle)| angle * (weight * f64::from(sample)))
        .sum()
}

/// Sums of `weight * x * cos(k w t)` and of `weight * x * sin(k w t)` for `k` from 0 on, `t` from
/// the middle, about which the weights are even: two samples at a time share a cosine and a sine.
pub(super) fn project_about_middle(
    samples: &[f32],
    weights: &[f64],
    cycles: f64,
) -> (Vec<f64>, Vec<f64>) {
    let middle = Middle::of(samples.len());
    let alone = middle
        .alone
        .map_or(0.0, |at| weights[at] * f64::from(samples[at]));
    let (mut cosines, mut sines) = ([alone; LANES], [0.0; LANES]);
    let step = Phasors::at(cycles);
    for first in (0..middle.half).step_by(TURNED_SAMPLES) {
        let mut turning = Phasors::at(cycles * middle.time(first));
        for pair in first..middle.half.min(first + TURNED_SAMPLES) {
            let [early, late] = middle.pair(pair);
            let weight = weights[late];
            let (before, after) = (f64::from(samples[early]), f64::from(samples[late]));
            let (even, odd) = (weight * (after + before), weight * (after - before));
            for lane in 0..LANES {
                cosines[lane] += even * turning.re[lane];
                sines[lane] += odd * turning.im[lane];
            }
            turning.turn(&step);
        }
    }
    (cosines.to_vec(), sines.to_vec())
}

/// The samples without direct current and harmonics, whose phases count from the middle.
pub(super) fn subtract_about_middle(
    samples: &[f32],
    cycles: f64,
    dc: f64,
    harmonics: &[Complex64],
) -> Vec<f64> {
    let (mut re, mut im) = ([0.0; LANES], [0.0; LANES]);
    re[0] = dc;
    for (k, harmonic) in harmonics.iter().enumerate() {
        (re[k + 1], im[k + 1]) = (harmonic.re, harmonic.im);
    }
    let middle = Middle::of(samples.len());
    let mut left: Vec<f64> = samples.iter().map(|&x| f64::from(x)).collect();
    if let Some(at) = middle.alone {
        left[at] -= re.iter().sum::<f64>();
    }
    let step = Phasors::at(cycles);
    for first in (0..middle.half).step_by(TURNED_SAMPLES) {
        let mut turning = Phasors::at(cycles * middle.time(first));
        for pair in first..middle.half.min(first + TURNED_SAMPLES) {
            let [early, late] = middle.pair(pair);
            let (mut even, mut odd) = (0.0, 0.0);
            for lane in 0..LANES {
                even += re[lane] * turning.re[lane];
                odd += im[lane] * turning.im[lane];
            }
            left[late] -= even - odd;
            left[early] -= even + odd;
            turning.turn(&step);
        }
    }
    left
}

/// Samples in pairs, as far before the middle as behind it.
struct Middle {
    count: usize,
    /// How many pairs there are.
    half: usize,
    /// The sample in the very middle, where their number is odd.
    alone: Option<usize>,
}

impl Middle {
    fn of(count: usize) -> Self {
        let half = count / 2;
        Self {
            count,
            half,
            alone: (count % 2 == 1).then_some(half),
        }
    }

    /// The samples of a pair, the innermost being number 0.
    fn pair(&self, number: usize) -> [usize; 2] {
        [self.half - 1 - number, self.count - self.half + number]
    }

    /// Their distance from the middle in samples.
    fn time(&self, number: usize) -> f64 {
        let innermost = if self.alone.is_some() { 1.0 } else { 0.5 };
        number as f64 + innermost
    }
}

/// `exp(j 2 pi k c)` for `k` from 0 on, real and imaginary parts apart so that lanes run abreast.
#[derive(Clone, Copy)]
struct Phasors {
    re: [f64; LANES],
    im: [f64; LANES],
}

impl Phasors {
    /// The phasors of `cycles` turns of the fundamental.
    fn at(cycles: f64) -> Self {
        let angle = |k: usize| TAU * (k as f64 * cycles).fract();
        Self {
            re: std::array::from_fn(|k| angle(k).cos()),
            im: std::array::from_fn(|k| angle(k).sin()),
        }
    }

    /// Turns each by its step.
    fn turn(&mut self, step: &Self) {
        for lane in 0..LANES {
            let (re, im) = (self.re[lane], self.im[lane]);
            self.re[lane] = re * step.re[lane] - im * step.im[lane];
            self.im[lane] = re * step.im[lane] + im * step.re[lane];
        }
    }
}
