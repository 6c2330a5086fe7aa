//! Discrete Fourier transforms: thin, typed helpers round `rustfft`.

use std::cell::RefCell;
use std::sync::Arc;

use rustfft::num_complex::Complex64;
use rustfft::{Fft, FftPlanner};

/// The least size not below `at_least` that is a power of two times 1, 3, 5, 9 or 15.
///
/// Such sizes are fast for every length, and at most an eighth more than asked for.
#[must_use]
pub fn smooth_size(at_least: usize) -> usize {
    let at_least = at_least.max(1);
    [1, 3, 5, 9, 15]
        .into_iter()
        .map(|odd| odd * at_least.div_ceil(odd).next_power_of_two())
        .min()
        .expect("there are five of them")
}

thread_local! {
    /// Keeps what was planned: an analysis asks for the same few sizes again and again.
    static PLANNER: RefCell<FftPlanner<f64>> = RefCell::new(FftPlanner::new());
}

/// Forward and inverse transform of one size, planned once.
pub struct Transform {
    size: usize,
    forward: Arc<dyn Fft<f64>>,
    inverse: Arc<dyn Fft<f64>>,
    scratch: Vec<Complex64>,
    /// Kept from one pair to the next.
    data: Vec<Complex64>,
}

impl Transform {
    /// Plans transforms of `size` points, at least 1.
    #[must_use]
    pub fn new(size: usize) -> Self {
        let (forward, inverse) = PLANNER.with_borrow_mut(|planner| {
            (
                planner.plan_fft_forward(size),
                planner.plan_fft_inverse(size),
            )
        });
        let scratch_len = forward
            .get_inplace_scratch_len()
            .max(inverse.get_inplace_scratch_len());
        Self {
            size,
            forward,
            inverse,
            scratch: vec![Complex64::default(); scratch_len],
            data: Vec::new(),
        }
    }

    /// Number of points.
    #[must_use]
    pub fn size(&self) -> usize {
        self.size
    }

    /// In place, `X[k] = sum x[n] exp(-j 2 pi k n / N)`, not scaled. `data` has `size` points.
    pub fn forward(&mut self, data: &mut [Complex64]) {
        self.forward.process_with_scratch(data, &mut self.scratch);
    }

    /// In place, the inverse of [`Transform::forward`], scaled by `1 / N`.
    pub fn inverse(&mut self, data: &mut [Complex64]) {
        self.inverse.process_with_scratch(data, &mut self.scratch);
        let scale = 1.0 / self.size as f64;
        for value in data {
            *value *= scale;
        }
    }

    /// Half spectra (bins `0..=N/2`) of two real signals by one transform.
    ///
    /// Signals shorter than `size` are padded with zeros, longer ones cut.
    pub fn forward_pair(&mut self, first: &[f64], second: &[f64]) -> [Vec<Complex64>; 2] {
        let mut data = std::mem::take(&mut self.data);
        data.clear();
        data.resize(self.size, Complex64::default());
        for (value, &sample) in data.iter_mut().zip(first) {
            value.re = sample;
        }
        for (value, &sample) in data.iter_mut().zip(second) {
            value.im = sample;
        }
        self.forward(&mut data);
        let pair = split_pair(&data);
        self.data = data;
        pair
    }

    /// Two real signals of `size` samples from their half spectra by one transform.
    pub fn inverse_pair(&mut self, first: &[Complex64], second: &[Complex64]) -> [Vec<f64>; 2] {
        let mut data = std::mem::take(&mut self.data);
        merge_pair(&mut data, self.size, first, second);
        self.inverse(&mut data);
        let pair = [
            data.iter().map(|value| value.re).collect(),
            data.iter().map(|value| value.im).collect(),
        ];
        self.data = data;
        pair
    }
}

/// Takes the spectrum of `first + j second` apart by the symmetry of real signals.
fn split_pair(data: &[Complex64]) -> [Vec<Complex64>; 2] {
    let half = data.len() / 2 + 1;
    let mut first = Vec::with_capacity(half);
    let mut second = Vec::with_capacity(half);
    // The mirror of bin k is bin N - k, that of bin 0 itself.
    let mirrors = data[..1].iter().chain(data.iter().rev());
    for (here, mirror) in data[..half].iter().zip(mirrors) {
        let mirror = mirror.conj();
        let difference = here - mirror;
        first.push((here + mirror) * 0.5);
        second.push(Complex64::new(difference.im * 0.5, -difference.re * 0.5));
    }
    [first, second]
}

/// Puts the full spectrum of `first + j second` together from their half spectra.
fn merge_pair(data: &mut Vec<Complex64>, size: usize, first: &[Complex64], second: &[Complex64]) {
    let turned = |value: &Complex64| Complex64::new(-value.im, value.re);
    let pairs = || first[..=size / 2].iter().zip(second);
    data.clear();
    data.reserve(size);
    data.extend(pairs().map(|(a, b)| a + turned(b)));
    let mirrored = pairs().map(|(a, b)| a.conj() + turned(&b.conj()));
    data.extend(mirrored.rev().skip(1 - size % 2).take(size - size / 2 - 1));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn smooth_size_of_49_is_60_and_of_7_is_8() {
        assert_eq!(smooth_size(49), 60);
        assert_eq!(smooth_size(7), 8);
        assert_eq!(smooth_size(1), 1);
        assert_eq!(smooth_size(286_000), 294_912);
    }

    #[test]
    fn a_pair_of_signals_comes_back_within_1e_12_for_even_and_odd_sizes() {
        for size in [45, 60] {
            let a: Vec<f64> = (0..size).map(|n| (n as f64 * 0.7).sin()).collect();
            let b: Vec<f64> = (0..size).map(|n| (n as f64 * 1.9).cos() * 3.0).collect();
            let mut transform = Transform::new(size);
            let [sa, sb] = transform.forward_pair(&a, &b);
            let slow: Complex64 = b
                .iter()
                .enumerate()
                .map(|(n, &x)| {
                    x * Complex64::cis(-std::f64::consts::TAU * 3.0 * n as f64 / size as f64)
                })
                .sum();
            assert!((sb[3] - slow).norm() < 1e-10, "got {}, want {slow}", sb[3]);
            let [ra, rb] = transform.inverse_pair(&sa, &sb);
            for n in 0..size {
                assert!((ra[n] - a[n]).abs() < 1e-12 && (rb[n] - b[n]).abs() < 1e-12);
            }
        }
    }
}
