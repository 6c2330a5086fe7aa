//! The noise in a response, from lags at which nothing else is left.

use goodwire_dsp::fft::{Transform, smooth_size};
use goodwire_dsp::sweep::Sweep;
use goodwire_dsp::window::kaiser;

/// Length in seconds of the pieces that the noise is read from: long enough to keep what rings below
/// the swept band out of it.
const PIECE_S: f64 = 0.25;

/// Shape of their Kaiser window: what rings there stays 90 dB below itself from 16 Hz on.
const BETA: f64 = 12.0;

/// Most pieces.
const PIECES_MAX: usize = 24;

/// The linear response has ended after so many seconds, and after this share of `L`.
const ENDED: (f64, f64) = (0.25, 0.5);

/// Harmonics above this order may lie where the noise is read; they are noise to those below.
const ORDER_MAX: u32 = 200;

/// Bins on either side that the density is averaged over.
const ABOUT: usize = 3;

/// A bin that stands out of its neighbours by this factor is a line, hum for example.
const LINE: f64 = 6.0;

/// Noise density of one response: power for each second of gate.
#[derive(Debug, Clone)]
pub struct Noise {
    per_bin_hz: f64,
    density: Vec<f64>,
}

impl Noise {
    /// Reads the noise of two responses (the second may be silent) on one circle.
    pub fn of(responses: &[Vec<f64>; 2], sweep: &Sweep, rate_hz: f64) -> [Self; 2] {
        let circle_s = responses[0].len() as f64 / rate_hz;
        let from_s = ENDED.0.max(ENDED.1 * sweep.time_constant_s);
        let to_s = (circle_s - sweep.advance_s(ORDER_MAX)).max(from_s + PIECE_S);
        let length = (PIECE_S * rate_hz) as usize;
        let count = (((to_s - from_s) / (0.5 * PIECE_S)) as usize).clamp(1, PIECES_MAX);
        let window: Vec<f64> = (0..length)
            .map(|n| kaiser(2.0 * (n as f64 + 0.5) / length as f64 - 1.0, BETA))
            .collect();
        let square_sum: f64 = window.iter().map(|w| w * w).sum();
        let mut transform = Transform::new(smooth_size(length));
        let half = transform.size() / 2 + 1;
        let mut densities = [vec![0.0; half], vec![0.0; half]];
        let scale = rate_hz / (count as f64 * square_sum);
        for piece in 0..count {
            let share = piece as f64 / (count - 1).max(1) as f64;
            let first = ((from_s + share * (to_s - PIECE_S - from_s)) * rate_hz) as usize;
            let weighed = responses.each_ref().map(|response| {
                let lags = response.iter().cycle().skip(first).take(length);
                lags.zip(&window).map(|(x, w)| x * w).collect::<Vec<f64>>()
            });
            let spectra = transform.forward_pair(&weighed[0], &weighed[1]);
            for (density, spectrum) in densities.iter_mut().zip(&spectra) {
                for (sum, bin) in density.iter_mut().zip(spectrum) {
                    *sum += scale * bin.norm_sqr();
                }
            }
        }
        let per_bin_hz = rate_hz / transform.size() as f64;
        densities.map(|density| Self {
            per_bin_hz,
            density: smoothed(&density),
        })
    }

    /// Variance of what a gate of `noise_s` seconds lets through at `frequency_hz`.
    pub fn variance(&self, frequency_hz: f64, noise_s: f64) -> f64 {
        let bin = (frequency_hz / self.per_bin_hz).round() as usize;
        self.density[bin.min(self.density.len() - 1)] * noise_s
    }
}

/// Each bin's mean with its neighbours; lines stay as they are, on the bins about them too.
fn smoothed(density: &[f64]) -> Vec<f64> {
    let mean = |at: usize| {
        let about = &density[at.saturating_sub(ABOUT)..(at + ABOUT + 1).min(density.len())];
        let highest = about.iter().copied().fold(0.0, f64::max);
        let sum: f64 = about.iter().sum();
        let others = (sum - highest) / (about.len() - 1) as f64;
        if highest > LINE * others {
            highest
        } else {
            sum / about.len() as f64
        }
    };
    (0..density.len()).map(mean).collect()
}
