//! Brings a channel to the rate at which it is watched: some 16 kHz, up to 7 kHz.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

use crate::{resample::dot, window::kaiser};

/// The watch's rate is the highest whole part of the interface's that is not below this.
const RATE_LEAST_HZ: f64 = 16_000.0;
/// Half the length of the low-pass, in samples of the watch's rate.
const HALF_LENGTH: usize = 8;
/// Kaiser's β for 60 dB (Kaiser's formula 0.1102 (A - 8.7)).
const BETA: f64 = 5.65;

/// How many frames of `rate_hz` make one sample of the watch.
#[must_use]
pub fn decimation(rate_hz: f64) -> usize {
    ((rate_hz / RATE_LEAST_HZ) as usize).max(1)
}

/// One channel. Sample `k` stands at frame `k x decimation`; link and cable go through the same.
#[derive(Debug, Clone)]
pub struct Narrow {
    decimation: usize,
    taps: Vec<f64>,
    pending: Vec<f64>,
    high_pass: HighPass,
}

impl Narrow {
    /// A channel of `rate_hz`, without the hum and handling noise below `low_hz`.
    #[must_use]
    pub fn new(rate_hz: f64, low_hz: f64) -> Self {
        let decimation = decimation(rate_hz);
        let half = (HALF_LENGTH * decimation) as i64;
        // Half of the watch's rate is in the middle of the slope: 1/decimation of the whole band.
        let cutoff = 1.0 / decimation as f64;
        let sinc = |x: f64| {
            if x == 0.0 {
                1.0
            } else {
                (PI * x).sin() / (PI * x)
            }
        };
        let taps: Vec<f64> = (-half..=half)
            .map(|n| sinc(n as f64 * cutoff) * kaiser(n as f64 / (half + 1) as f64, BETA))
            .collect();
        let sum: f64 = taps.iter().sum();
        Self {
            decimation,
            taps: taps.into_iter().map(|tap| tap / sum).collect(),
            // The first sample stands at the first frame: silence before it.
            pending: vec![0.0; half as usize],
            high_pass: HighPass::new(rate_hz / decimation as f64, low_hz),
        }
    }

    /// Takes frames, adds the samples that are complete to `samples`.
    pub fn take(&mut self, frames: &[f32], samples: &mut Vec<f64>) {
        self.pending
            .extend(frames.iter().map(|frame| f64::from(*frame)));
        let mut at = 0;
        while at + self.taps.len() <= self.pending.len() {
            let window = &self.pending[at..at + self.taps.len()];
            let sum = dot(window, &self.taps);
            samples.push(self.high_pass.step(sum));
            at += self.decimation;
        }
        self.pending.drain(..at);
    }
}

/// Butterworth high-pass of second order, by the bilinear transform.
#[derive(Debug, Clone)]
struct HighPass {
    gain: f64,
    back: [f64; 2],
    state: [f64; 2],
}

impl HighPass {
    fn new(rate_hz: f64, low_hz: f64) -> Self {
        let k = (PI * low_hz / rate_hz).tan();
        let norm = 1.0 / (1.0 + k / FRAC_1_SQRT_2 + k * k);
        Self {
            gain: norm,
            back: [
                2.0 * (k * k - 1.0) * norm,
                (1.0 - k / FRAC_1_SQRT_2 + k * k) * norm,
            ],
            state: [0.0; 2],
        }
    }

    /// Transposed direct form II.
    fn step(&mut self, x: f64) -> f64 {
        let y = self.gain * x + self.state[0];
        self.state[0] = -2.0 * self.gain * x - self.back[0] * y + self.state[1];
        self.state[1] = self.gain * x - self.back[1] * y;
        y
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tone_of_3_khz_comes_through_in_its_place_and_20_khz_60_db_down() {
        for rate_hz in [44_100.0, 48_000.0, 96_000.0, 192_000.0] {
            let tone = |hz: f64| {
                let frames: Vec<f32> = (0..rate_hz as usize)
                    .map(|n| (2.0 * PI * hz * n as f64 / rate_hz).sin() as f32)
                    .collect();
                let mut samples = Vec::new();
                Narrow::new(rate_hz, 150.0).take(&frames, &mut samples);
                samples
            };
            let pass = tone(3_000.0);
            let each = decimation(rate_hz) as f64;
            for (k, sample) in pass.iter().enumerate().skip(2_000).take(1_000) {
                let angle = 2.0 * PI * 3_000.0 * k as f64 * each / rate_hz;
                // The high-pass at 150 Hz turns 3 kHz by 4°, that is 0.07.
                assert!((sample - angle.sin()).abs() < 0.09, "{rate_hz} {k}");
            }
            let stop = tone(20_000.0);
            let peak = stop[2_000..]
                .iter()
                .fold(0.0_f64, |peak, x| peak.max(x.abs()));
            assert!(peak < 2e-3 || rate_hz < 48_000.0, "{rate_hz}: {peak}");
        }
    }
}
