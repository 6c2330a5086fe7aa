//! Sweeps in a row.

use std::ops::Range;

use crate::stimulus::{Body, Layout};
use crate::sweep::Sweep;

/// Silence between two sweeps in seconds: the response to the highest frequencies ends in it.
const GAP_S: f64 = 0.3;
/// Seconds before a sweep that belong to its window.
pub(super) const BEFORE_S: f64 = 0.05;
/// Seconds after a sweep that belong to its window.
const AFTER_S: f64 = 0.24;

/// One sweep after the other, each at its own amplitude: the body of a stimulus.
#[derive(Debug, Clone, PartialEq)]
pub struct SweepTrain {
    /// The sweep; its amplitude is 1.
    sweep: Sweep,
    amplitudes: Vec<f64>,
    /// Each sweep runs backwards, from its highest frequency to its lowest.
    top_down: bool,
}

impl SweepTrain {
    /// `sweep` once for each of `amplitudes` (linear peaks), in this order.
    #[must_use]
    pub fn new(sweep: Sweep, amplitudes: Vec<f64>) -> Self {
        Self {
            sweep: sweep.with_amplitude(1.0),
            amplitudes,
            top_down: false,
        }
    }

    /// The same with every sweep backwards in time: from the top down. A link that wakes late has
    /// then been awake for longest where the bass is; harmonics come late by `L ln N`.
    #[must_use]
    pub fn top_down(self) -> Self {
        Self {
            top_down: true,
            ..self
        }
    }

    /// The sweep at amplitude 1.
    #[must_use]
    pub fn sweep(&self) -> &Sweep {
        &self.sweep
    }

    /// The peaks, one a sweep.
    #[must_use]
    pub fn amplitudes(&self) -> &[f64] {
        &self.amplitudes
    }

    /// Seconds after the first frame of the stimulus at which sweep `index` begins.
    #[must_use]
    pub fn start_s(&self, layout: &Layout, index: usize) -> f64 {
        let first = layout.body.start as f64 / layout.rate_hz;
        first + (index * self.period_frames()) as f64 / self.sweep.rate_hz
    }

    /// Seconds after the first frame of the stimulus at which sweep `index` passes
    /// `frequency_hz`.
    #[must_use]
    pub fn time_of_s(&self, layout: &Layout, index: usize, frequency_hz: f64) -> f64 {
        let upwards_s = self.sweep.time_of_s(frequency_hz);
        let since_s = if self.top_down {
            (self.sweep.frame_count() - 1) as f64 / self.sweep.rate_hz - upwards_s
        } else {
            upwards_s
        };
        self.start_s(layout, index) + since_s
    }

    /// Frames of `layout` in which sweep `index` and the link's answer to it sound, and nothing
    /// else. All windows have one length.
    #[must_use]
    pub fn window(&self, layout: &Layout, index: usize) -> Range<usize> {
        let first = ((self.start_s(layout, index) - BEFORE_S) * layout.rate_hz) as usize;
        let length_s = BEFORE_S + self.sweep.length_s() + AFTER_S;
        first..first + (length_s * layout.rate_hz) as usize
    }

    fn period_frames(&self) -> usize {
        self.sweep.frame_count() + (GAP_S * self.sweep.rate_hz).round() as usize
    }
}

impl Body for SweepTrain {
    fn frame_count(&self) -> usize {
        let gap = (GAP_S * self.sweep.rate_hz).round() as usize;
        (self.amplitudes.len() * self.period_frames()).saturating_sub(gap)
    }

    fn sample(&self, frame: usize) -> f64 {
        let (index, within) = (frame / self.period_frames(), frame % self.period_frames());
        let count = self.sweep.frame_count();
        if within >= count {
            return 0.0;
        }
        let within = if self.top_down {
            count - 1 - within
        } else {
            within
        };
        self.amplitudes[index] * self.sweep.sample(within)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn windows_hold_their_sweep_and_no_other() {
        let sweep = Sweep::new(48_000.0, 1.0, 20.0, 20_000.0, 0.5);
        let train = SweepTrain::new(sweep, vec![0.1, 0.2]);
        let layout = Layout::new(48_000.0, 0.5, train.frame_count());
        for rate_hz in [48_000.0, 44_100.0] {
            let layout = layout.at_rate(rate_hz);
            let windows = [0, 1].map(|index| train.window(&layout, index));
            assert!(windows[0].start > layout.opening.end);
            assert!(windows[0].end <= windows[1].start + 1);
            assert!(windows[1].end < layout.closing.start);
            assert_eq!(windows[0].len(), windows[1].len());
        }
        let second = train.period_frames();
        assert!((train.sample(second + 9_000) / train.sample(9_000) - 2.0).abs() < 1e-9);
    }
}
