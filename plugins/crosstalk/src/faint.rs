//! Looks for a faint answer to the sweep, wherever it lies.

use goodwire_dsp::align::Alignment;
use goodwire_dsp::fft::{Transform, smooth_size};
use goodwire_dsp::response::{SweepTrain, log_grid};

use crate::settings::BAND_HZ;

/// An answer may be earlier or later than the reference's by so many seconds.
const REACH_S: f64 = 1.0;

/// How far the peak of an answer must stand above the RMS of all lags. Gaussian noise of the
/// 10^5 lags that are looked at reaches 8 once in 10^10 times.
const PEAK_RATIO_MIN: f64 = 8.0;

/// Length in seconds of the pieces of lags that noise is told from: what a gate would let pass.
const PIECE_S: f64 = 0.05;

/// Points an octave of the noise's curve.
const PER_OCTAVE: f64 = 24.0;

/// What was found.
pub struct Answer {
    /// Frames that an answer is later than the track it was read on; none where none stands out.
    pub late_frames: Option<i64>,
    /// Frequency in Hz, and power of 50 ms of lags relative to what was sent, mean over a second:
    /// that of the noise, and an upper bound of an answer that does not stand out of it.
    pub noise: Vec<(f64, f64)>,
}

/// Looks in `samples`, which lie on the frames of `alignment`'s stimulus, for an answer to the
/// first sweep of `train`: what was heard divided by the sweep, lags of a second on either side.
pub fn look(alignment: &Alignment, train: &SweepTrain, samples: &[f64]) -> Answer {
    let rate_hz = alignment.layout.rate_hz;
    let window = train.window(&alignment.layout, 0);
    let reach = (REACH_S * rate_hz) as usize;
    let size = smooth_size(window.len() + 2 * reach);
    let mut sent = vec![0.0; size];
    sent[..window.len()].copy_from_slice(&alignment.sent[window.clone()]);
    // What was heard before the window comes last on the circle: earlier lags are below 0.
    let mut heard = vec![0.0; size];
    for (lag, frame) in (0..window.len() + reach).zip(window.start..) {
        heard[lag] = samples.get(frame).copied().unwrap_or(0.0);
    }
    for back in 1..=reach.min(window.start) {
        heard[size - back] = samples.get(window.start - back).copied().unwrap_or(0.0);
    }
    let mut transform = Transform::new(size);
    let [sent, mut answer] = transform.forward_pair(&sent, &heard);
    let per_bin_hz = rate_hz / size as f64;
    for (bin, (value, sent)) in answer.iter_mut().zip(&sent).enumerate() {
        let frequency_hz = bin as f64 * per_bin_hz;
        let inside = (BAND_HZ[0]..=BAND_HZ[1]).contains(&frequency_hz);
        *value = if inside {
            *value / sent
        } else {
            Default::default()
        };
    }
    let [response, _] = transform.inverse_pair(&answer, &vec![Default::default(); answer.len()]);
    let lag = |index: usize| {
        if index > size / 2 {
            index as i64 - size as i64
        } else {
            index as i64
        }
    };
    let lags: Vec<usize> = (0..=reach).chain(size - reach..size).collect();
    let power = lags.iter().map(|&at| response[at].powi(2)).sum::<f64>();
    let rms = (power / lags.len() as f64).sqrt();
    let peak = lags.iter().copied().max_by(|&a, &b| {
        let level = |at: usize| response[at].abs();
        level(a).total_cmp(&level(b))
    });
    let stands = peak.filter(|&peak| response[peak].abs() > PEAK_RATIO_MIN * rms);
    Answer {
        late_frames: stands.map(lag),
        noise: noise(&response[..reach], rate_hz),
    }
}

/// Mean power of pieces of lags at frequencies evenly spaced over log f.
fn noise(lags: &[f64], rate_hz: f64) -> Vec<(f64, f64)> {
    let length = (PIECE_S * rate_hz) as usize;
    let mut transform = Transform::new(length);
    let mut powers = vec![0.0; length / 2 + 1];
    let pieces = lags.chunks_exact(length);
    let count = pieces.len() as f64;
    for piece in pieces {
        let [spectrum, _] = transform.forward_pair(piece, &[]);
        for (power, value) in powers.iter_mut().zip(&spectrum) {
            *power += value.norm_sqr() / count;
        }
    }
    let per_bin_hz = rate_hz / length as f64;
    let at = |frequency_hz: f64| powers[((frequency_hz / per_bin_hz).round() as usize).max(1)];
    let grid = log_grid(BAND_HZ[0], BAND_HZ[1], PER_OCTAVE);
    grid.into_iter().map(|f| (f, at(f))).collect()
}
