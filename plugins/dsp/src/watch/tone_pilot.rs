//! A steady tone as the body of a stimulus, for links that cannot take noise.

use std::f64::consts::TAU;

use crate::decibel;
use crate::stimulus::Body;
use crate::window::flat_top;

/// Fades at both ends, in seconds.
const FADE_S: f64 = 0.01;

/// So many frames of a tone: a pure function of the frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TonePilot {
    rate_hz: f64,
    freq_hz: f64,
    peak: f64,
    frame_count: usize,
}

impl TonePilot {
    /// A tone of `freq_hz` whose peak is `level_dbfs`.
    #[must_use]
    pub fn new(rate_hz: f64, freq_hz: f64, level_dbfs: f64, frame_count: usize) -> Self {
        Self {
            rate_hz,
            freq_hz,
            peak: decibel::amplitude(level_dbfs),
            frame_count,
        }
    }
}

impl Body for TonePilot {
    fn frame_count(&self) -> usize {
        self.frame_count
    }

    fn sample(&self, frame: usize) -> f64 {
        let turns = (self.freq_hz * frame as f64 / self.rate_hz).fract();
        let whole_s = self.frame_count as f64 / self.rate_hz;
        let fade = flat_top(frame as f64 / self.rate_hz, 0.0, FADE_S, FADE_S, whole_s);
        self.peak * fade * (TAU * turns).sin()
    }
}
