//! The continuation of a response below the band that was swept.

use rustfft::num_complex::Complex64;

use super::gates::Gate;
use crate::fft::{Transform, smooth_size};
use crate::window::rise;

/// Bins that the continuation is found on, in multiples of those that it fills.
const EXTENT: usize = 16;

/// Most steps of the conjugate gradients.
const ROUNDS: usize = 200;

/// Share of the squared gradient that may be left: what then rings is below 0.000_1 dB.
const SETTLED: f64 = 1e-9;

/// Squared gradient over the response's power below which there is nothing to mend.
const NEGLIGIBLE: f64 = 1e-14;

/// What was heard below the band, and how much it is worth.
pub(super) struct Heard<'a> {
    /// Response at each bin.
    pub(super) spectrum: &'a mut [Complex64],
    /// Weight of each: 1 where the stimulus is as strong as at the band's edge, 0 where there
    /// is none of it.
    pub(super) trust: &'a [f64],
}

/// Chooses the values below bin `low` so that as little of the response as can be lies outside
/// of `gate`, and as near to what was `heard` there as that is worth.
///
/// A band that ends rings before lag 0 and after all that is left of the response; a gate would
/// cut that off and bend the band's end. Minimised is the energy of `(1 - gate) h` plus
/// `sum trust |H - heard|^2` over the bins below `low`, all others being kept, by conjugate
/// gradients: where the recording's noise is white and the true response lies within the gate,
/// that is the most likely continuation, for what is left outside is noise, as large as that of
/// the band's edge. Without the second term it is the extrapolation of Papoulis (IEEE T-CAS
/// 22(9), 735-742, 1975). `circle_s` is the length of the response in seconds. NaN spreads over
/// the filled bins.
pub(super) fn extend_down(
    spectrum: &mut [Complex64],
    heard: &Heard<'_>,
    gate: &Gate,
    circle_s: f64,
) {
    let low = heard.spectrum.len();
    let count = smooth_size(EXTENT * low).min(spectrum.len() - 1);
    let mut cutter = Cutter::new(low, count, gate, circle_s);
    // What lies above is faded out smoothly, so that only the lower end rings.
    let fade = |bin: usize| rise(rise(2.0 * (1.0 - bin as f64 / count as f64)));
    let mut part: Vec<Complex64> = (0..=count).map(|bin| spectrum[bin] * fade(bin)).collect();
    let mut residual: Vec<Complex64> = cutter.cut_off(&part).iter().map(|v| -v).collect();
    for bin in 0..low {
        residual[bin] -= (part[bin] - heard.spectrum[bin]) * heard.trust[bin];
    }
    let mut direction = residual.clone();
    let mut square = product(&residual, &residual);
    let enough = (square * SETTLED).max(product(&part, &part) * NEGLIGIBLE);
    for _ in 0..ROUNDS {
        if square <= enough {
            break;
        }
        let mut image = cutter.cut_off(&direction);
        for bin in 0..low {
            image[bin] += direction[bin] * heard.trust[bin];
        }
        let step = square / product(&direction, &image);
        for bin in 0..low {
            part[bin] += direction[bin] * step;
            residual[bin] -= image[bin] * step;
        }
        let next = product(&residual, &residual);
        for bin in 0..low {
            direction[bin] = residual[bin] + direction[bin] * (next / square);
        }
        square = next;
    }
    spectrum[..low].copy_from_slice(&part[..low]);
}

/// The part of a response that a gate cuts off.
struct Cutter {
    low: usize,
    transform: Transform,
    silent: Vec<Complex64>,
    /// 1 minus the gate's weight, by lag.
    weights: Vec<f64>,
}

impl Cutter {
    fn new(low: usize, count: usize, gate: &Gate, circle_s: f64) -> Self {
        let size = 2 * count;
        let weight = |index: usize| {
            let lag = if index > count {
                index as f64 - size as f64
            } else {
                index as f64
            };
            1.0 - gate.weight(lag * circle_s / size as f64)
        };
        Self {
            low,
            transform: Transform::new(size),
            silent: vec![Complex64::default(); count + 1],
            weights: (0..size).map(weight).collect(),
        }
    }

    /// The lowest bins of what is cut off of the response with `bins`; those not given are 0.
    fn cut_off(&mut self, bins: &[Complex64]) -> Vec<Complex64> {
        let mut all = self.silent.clone();
        all[..bins.len()].copy_from_slice(bins);
        let [mut response, _] = self.transform.inverse_pair(&all, &self.silent);
        for (sample, weight) in response.iter_mut().zip(&self.weights) {
            *sample *= weight;
        }
        let [mut cut, _] = self.transform.forward_pair(&response, &[]);
        cut.truncate(self.low);
        cut
    }
}

/// Scalar product of two real signals by their half spectra: all bins but the first count twice.
fn product(a: &[Complex64], b: &[Complex64]) -> f64 {
    let sum: f64 = a.iter().zip(b).map(|(x, y)| (x * y.conj()).re).sum();
    2.0 * sum - (a[0] * b[0].conj()).re
}
