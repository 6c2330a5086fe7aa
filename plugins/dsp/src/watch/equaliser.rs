//! Predicts the link's sound from the cable's, and follows the link slowly.

use crate::resample::dot;

/// Taps; at 16 kHz 4 ms, so that the link's filters and the fraction of its delay fit in.
pub const TAPS: usize = 64;
/// Samples by which the taps reach ahead of the delay.
pub const AHEAD: usize = TAPS / 2;
/// Step of the adaptation (0 to 2): its time constant is TAPS/STEP samples, 40 ms at 16 kHz. What it
/// adds to the error is STEP/(2 - STEP), 13 dB below what it cannot predict.
const STEP: f64 = 0.1;
/// The taps are moved by one sample once their middle is further from the centre than this.
const OFF_CENTRE: f64 = 2.0;
/// Loudness is told once in so many steps: a millisecond, in which it hardly moves.
const LOUDNESS_EVERY: u32 = 16;
/// Middle is looked for once in so many steps.
const LOOK_EVERY: u32 = 256;

/// A finite impulse response that follows the link: normalised least mean squares (Haykin,
/// Adaptive Filter Theory, chapter 6 in the fourth edition; from memory).
#[derive(Debug, Clone)]
pub struct Equaliser {
    taps: [f64; TAPS],
    /// Root of the sum of their squares.
    loudness: f64,
    steps: u32,
}

impl Equaliser {
    /// Predicts silence.
    #[must_use]
    pub fn new() -> Self {
        Self {
            taps: [0.0; TAPS],
            loudness: 0.0,
            steps: 0,
        }
    }

    /// Predicts the cable's sound, times `gain`.
    #[must_use]
    pub fn plain(gain: f64) -> Self {
        let mut plain = Self::new();
        plain.taps[AHEAD] = gain;
        plain.loudness = gain.abs();
        plain
    }

    /// What the link has to carry at the middle of `sound`: TAPS samples of the cable, in order.
    #[must_use]
    pub fn predict(&self, sound: &[f64]) -> f64 {
        dot(&self.taps, sound)
    }

    /// Root of the sum of the squared taps: how loud the link is, in the band of the pilot.
    #[must_use]
    pub fn loudness(&self) -> f64 {
        self.loudness
    }

    /// Learns what the link made of `sound`. Gives by how many samples the delay has to be moved
    /// so that the taps stay in the middle: -1 where it `may_lead`, 0 or 1.
    pub fn learn(&mut self, sound: &[f64], link: f64, may_lead: bool) -> i64 {
        let power = dot(sound, sound);
        if power > 0.0 {
            let step = STEP * (link - self.predict(sound)) / power;
            for (tap, x) in self.taps.iter_mut().zip(sound) {
                *tap += step * x;
            }
        }
        self.steps += 1;
        let moved = if self.steps.is_multiple_of(LOOK_EVERY) {
            self.centre(may_lead)
        } else {
            0
        };
        if self.steps.is_multiple_of(LOUDNESS_EVERY) {
            self.loudness = dot(&self.taps, &self.taps).sqrt();
        }
        moved
    }

    fn centre(&mut self, may_lead: bool) -> i64 {
        let total: f64 = self.taps.iter().map(|tap| tap * tap).sum();
        let moment = |(index, tap): (usize, &f64)| index as f64 * tap * tap;
        let middle = self.taps.iter().enumerate().map(moment).sum::<f64>() / total;
        let off = middle - AHEAD as f64;
        if off > OFF_CENTRE && may_lead {
            // The sound that counts is later in the window: let the window begin later.
            self.taps.rotate_left(1);
            self.taps[TAPS - 1] = 0.0;
            return -1;
        }
        if off < -OFF_CENTRE {
            self.taps.rotate_right(1);
            self.taps[0] = 0.0;
            return 1;
        }
        0
    }
}

impl Default for Equaliser {
    fn default() -> Self {
        Self::new()
    }
}
