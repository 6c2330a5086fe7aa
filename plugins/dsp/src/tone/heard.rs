//! A sequence of tones as it was heard: which samples of a recording belong to which tone.

use std::ops::Range;

use super::sequence::Sequence;
use crate::align::Track;

/// Samples of a recording this far from a tone's end, in seconds, are not used: late sound of the
/// link and what the alignment left.
const GUARD_S: f64 = 0.005;

/// Pieces are cut to a multiple of so many samples.
const LENGTH_STEP: usize = 32;

/// One recording of a stimulus whose body is a [`Sequence`].
///
/// The recording is read as it is, on its own clock: nothing is interpolated, so nothing is added
/// to what the link did. Only places and frequencies are converted.
#[derive(Debug, Clone, Copy)]
pub struct Heard<'a> {
    samples: &'a [f32],
    /// Where frame 0 of the sequence lies in the recording.
    first: f64,
    /// Frames of the recording for one frame of the sequence.
    step: f64,
    /// Rate in Hz of the recording as the player's clock counts it.
    rate_hz: f64,
    /// Frames by which the delay may be larger or smaller than `first` says.
    slack: [f64; 2],
    /// -1 where the recording is inverted, else 1.
    polarity: f64,
}

impl<'a> Heard<'a> {
    /// A recording of nominally `recorded_rate_hz` that `track` tells the place of; the sequence
    /// begins at `body_start` of a stimulus of `rate_hz`.
    #[must_use]
    pub fn new(
        samples: &'a [f32],
        recorded_rate_hz: f64,
        track: &Track,
        body_start: usize,
        rate_hz: f64,
    ) -> Self {
        let rate = recorded_rate_hz * (1.0 + track.removed_skew);
        let step = rate / rate_hz;
        Self {
            samples,
            first: track.offset_frames + body_start as f64 * step,
            step,
            rate_hz: rate,
            slack: [track.step_frames.min(0.0), track.step_frames.max(0.0)],
            polarity: track.polarity,
        }
    }

    /// Rate in Hz of the recording as the player's clock counts it.
    #[must_use]
    pub fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// -1 where the recording is inverted, else 1.
    #[must_use]
    pub fn polarity(&self) -> f64 {
        self.polarity
    }

    /// What was heard of tone `index` from `settle_s` after its fade on; empty where the recording
    /// does not hold it.
    #[must_use]
    pub fn tone(&self, sequence: &Sequence, index: usize, settle_s: f64) -> &'a [f32] {
        let Range { start, end } = sequence.steady(index);
        let at = |frame: usize, shift_s: f64| {
            self.first + frame as f64 * self.step + shift_s * self.rate_hz
        };
        let from = (at(start, settle_s) + self.slack[1]).ceil();
        let to = (at(end, -GUARD_S) + self.slack[0]).floor();
        if from < 0.0 || to <= from {
            return &[];
        }
        // Tones of one length give pieces of one length, wherever the clocks put their ends.
        let length = (to - from) as usize / LENGTH_STEP * LENGTH_STEP;
        let from = from as usize;
        self.samples.get(from..from + length).unwrap_or_default()
    }
}
