//! A faint answer to the sweep, wherever it lies, and the noise about it.

use goodwire_dsp::Complex64;
use goodwire_dsp::align::Alignment;
use goodwire_dsp::fft::{Transform, smooth_size};
use goodwire_dsp::response::{SweepTrain, log_grid};
use goodwire_dsp::window::flat_top;

use crate::settings::{BAND_HZ, SWEPT_HZ};

/// An answer may be earlier or later than the reference's by so many seconds.
const REACH_S: f64 = 1.0;

/// How far the peak of an answer must stand above the RMS of all lags. Gaussian noise of the
/// 10^5 lags that are looked at reaches 8 once in 10^10 times.
const PEAK_RATIO_MIN: f64 = 8.0;

/// The gate round the peak in seconds, and its fades.
const GATE_S: [f64; 2] = [-0.05, 0.15];
const FADES_S: [f64; 2] = [0.03, 0.06];

/// Lags about the peak, in seconds, in which the noise is not looked for.
const OWN_S: [f64; 2] = [-0.2, 0.3];

/// Points an octave of the curve.
pub const PER_OCTAVE: f64 = 24.0;

/// Length of the gate in seconds.
pub const GATE_LENGTH_S: f64 = GATE_S[1] - GATE_S[0];

/// One frequency of an answer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heard {
    /// Frequency in Hz.
    pub frequency_hz: f64,
    /// Power under the gate, noise included, re what was sent.
    pub power: f64,
    /// Power that noise alone puts under the gate.
    pub noise: f64,
}

/// What was heard divided by what was sent: a response, circular, with lags on either side.
pub struct Answer {
    response: Vec<f64>,
    rate_hz: f64,
}

impl Answer {
    /// Divides `samples`, which lie on the frames of `alignment`'s stimulus, by the sweep.
    pub fn new(alignment: &Alignment, train: &SweepTrain, samples: &[f64]) -> Self {
        let rate_hz = alignment.layout.rate_hz;
        let window = train.window(&alignment.layout, 0);
        let reach = (REACH_S * rate_hz) as usize;
        let size = smooth_size(window.len() + 2 * reach);
        let sent = &alignment.sent[window.clone()];
        // What was heard before the window comes last on the circle: its lags are below 0.
        let mut heard = vec![0.0; size];
        let at = |frame: usize| samples.get(frame).copied().unwrap_or(0.0);
        for (place, frame) in (0..window.len() + reach).zip(window.start..) {
            heard[place] = at(frame);
        }
        for back in 1..=reach.min(window.start) {
            heard[size - back] = at(window.start - back);
        }
        let mut transform = Transform::new(size);
        let [sent, mut answer] = transform.forward_pair(sent, &heard);
        let per_bin_hz = rate_hz / size as f64;
        for (bin, (value, sent)) in answer.iter_mut().zip(&sent).enumerate() {
            *value = match band(bin as f64 * per_bin_hz, rate_hz) {
                0.0 => Complex64::default(),
                share => *value * share / sent,
            };
        }
        let silent = vec![Complex64::default(); answer.len()];
        let [response, _] = transform.inverse_pair(&answer, &silent);
        Self { response, rate_hz }
    }

    /// Frames that an answer is later than the track it was read on; none where none stands out.
    pub fn late_frames(&self) -> Option<i64> {
        let reach = (REACH_S * self.rate_hz) as i64;
        let power: f64 = (-reach..=reach).map(|lag| self.at(lag).powi(2)).sum();
        let rms = (power / (2 * reach + 1) as f64).sqrt();
        let level = |lag: i64| self.at(lag).abs();
        let peak = (-reach..=reach).max_by(|&a, &b| level(a).total_cmp(&level(b)))?;
        (level(peak) > PEAK_RATIO_MIN * rms).then_some(peak)
    }

    /// The answer that is `late` frames late, with the noise under the same gate elsewhere: the
    /// median over all places of two seconds, which neither harmonics (lags below 0) nor bursts move.
    pub fn gated(&self, late: i64) -> Vec<Heard> {
        let frames = |seconds: f64| (seconds * self.rate_hz) as i64;
        let reach = frames(REACH_S);
        let mut transform = Transform::new(frames(1.0) as usize);
        let own = self.under_gate(&mut transform, late);
        let places = (0..).map(|n| -reach + n * frames(GATE_LENGTH_S));
        let elsewhere: Vec<Vec<f64>> = places
            .take_while(|&place| place <= reach)
            .filter(|place| {
                let apart = place - late;
                apart < frames(OWN_S[0]) || apart > frames(OWN_S[1])
            })
            .map(|place| self.under_gate(&mut transform, place))
            .collect();
        let point = |frequency_hz: f64| {
            let bin = frequency_hz.round() as usize;
            let mut noise: Vec<f64> = elsewhere.iter().map(|powers| powers[bin]).collect();
            Heard {
                frequency_hz,
                power: own[bin],
                noise: mean_of_median(&mut noise),
            }
        };
        let grid = log_grid(BAND_HZ[0], BAND_HZ[1], PER_OCTAVE);
        grid.into_iter().map(point).collect()
    }

    /// Power at every whole frequency in Hz of what lies under the gate at a lag.
    fn under_gate(&self, transform: &mut Transform, lag: i64) -> Vec<f64> {
        let first = (GATE_S[0] * self.rate_hz) as i64;
        let count = (GATE_LENGTH_S * self.rate_hz) as i64;
        let weight = |n: i64| {
            let time_s = n as f64 / self.rate_hz;
            flat_top(time_s, 0.0, FADES_S[0], FADES_S[1], GATE_LENGTH_S)
        };
        let gated: Vec<f64> = (0..count)
            .map(|n| weight(n) * self.at(lag + first + n))
            .collect();
        let [spectrum, _] = transform.forward_pair(&gated, &[]);
        spectrum.iter().map(|value| value.norm_sqr()).collect()
    }

    fn at(&self, lag: i64) -> f64 {
        self.response[lag.rem_euclid(self.response.len() as i64) as usize]
    }
}

/// Share of a frequency that is looked at: all of the band, fading towards the ends of the sweep.
fn band(frequency_hz: f64, rate_hz: f64) -> f64 {
    let [from_hz, to_hz] = SWEPT_HZ;
    let end_hz = (1.05 * to_hz).min(0.485 * rate_hz);
    flat_top(frequency_hz, from_hz, from_hz, end_hz - to_hz, end_hz)
}

/// Mean of exponentially distributed powers from their median: the `k`-th smallest of `n` (from 0)
/// is `ln((n + 1/2) / (n - k - 1/2))` of the mean.
fn mean_of_median(powers: &mut [f64]) -> f64 {
    let (count, middle) = (powers.len() as f64, powers.len() / 2);
    let (_, median, _) = powers.select_nth_unstable_by(middle, f64::total_cmp);
    *median / ((count + 0.5) / (count - middle as f64 - 0.5)).ln()
}
