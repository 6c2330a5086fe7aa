//! Tones one after the other, each as a pure function of the frame.

use std::f64::consts::{PI, TAU};
use std::ops::Range;

use crate::stimulus::Body;

/// Length of the raised cosine by which one tone gives way to the next, in seconds.
const RAMP_S: f64 = 0.01;

/// A steady sine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sine {
    /// Frequency in Hz, above 0 and below half the rate.
    pub freq_hz: f64,
    /// Peak, full scale = 1.
    pub peak: f64,
}

/// One tone of a sequence: a sine, or two at once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tone {
    /// The sine.
    pub sine: Sine,
    /// The one that sounds with it, if any.
    pub second: Option<Sine>,
    /// Frames from its start to the next one's start.
    pub frame_count: usize,
}

impl Tone {
    /// A single sine of `freq_hz` and `peak`.
    #[must_use]
    pub fn single(freq_hz: f64, peak: f64, frame_count: usize) -> Self {
        Self {
            sine: Sine { freq_hz, peak },
            second: None,
            frame_count,
        }
    }
}

/// Tones that follow one another, faded over by 10 ms of raised cosine.
///
/// The phase of every sine is zero at frame 0, so that steps of one frequency are one sine whose
/// envelope moves. Fades add up to one: no frame exceeds the greater peak of the tones it is made of.
#[derive(Debug, Clone, PartialEq)]
pub struct Sequence {
    rate_hz: f64,
    ramp_frames: usize,
    tones: Vec<Tone>,
    /// First frame of each tone, and the frame at which the last one begins to fade.
    starts: Vec<usize>,
}

impl Sequence {
    /// Puts tones one after the other, from frame 0 on.
    #[must_use]
    pub fn new(rate_hz: f64, tones: Vec<Tone>) -> Self {
        let mut starts = vec![0];
        for tone in &tones {
            starts.push(starts[starts.len() - 1] + tone.frame_count);
        }
        Self {
            rate_hz,
            ramp_frames: (RAMP_S * rate_hz).ceil() as usize,
            tones,
            starts,
        }
    }

    /// The tones in order.
    #[must_use]
    pub fn tones(&self) -> &[Tone] {
        &self.tones
    }

    /// The frames in which tone `index` stands alone at its full level.
    #[must_use]
    pub fn steady(&self, index: usize) -> Range<usize> {
        let end = self.starts[index + 1];
        (self.starts[index] + self.ramp_frames).min(end)..end
    }

    /// What tone `index` gives at `frame`.
    fn faded(&self, index: usize, frame: usize) -> f64 {
        let tone = self.tones[index];
        let rise = self.rise(frame, self.starts[index]);
        let fall = 1.0 - self.rise(frame, self.starts[index + 1]);
        let at = |sine: Sine| {
            let cycles = sine.freq_hz / self.rate_hz * frame as f64;
            sine.peak * (TAU * cycles.fract()).sin()
        };
        rise * fall * (at(tone.sine) + tone.second.map_or(0.0, at))
    }

    /// A raised cosine from 0 to 1 that begins at frame `start`.
    fn rise(&self, frame: usize, start: usize) -> f64 {
        if frame < start {
            return 0.0;
        }
        if frame >= start + self.ramp_frames {
            return 1.0;
        }
        let done = (frame - start) as f64 / self.ramp_frames as f64;
        0.5 - 0.5 * (PI * done).cos()
    }
}

impl Body for Sequence {
    /// Frames in all, the last fade included.
    fn frame_count(&self) -> usize {
        self.starts[self.tones.len()] + self.ramp_frames
    }

    fn sample(&self, frame: usize) -> f64 {
        let begun = self.starts[..self.tones.len()].partition_point(|&start| start <= frame);
        let Some(index) = begun.checked_sub(1) else {
            return 0.0;
        };
        let now = self.faded(index, frame);
        match index.checked_sub(1) {
            // The tone before is heard until its fade is over.
            Some(before) if frame < self.starts[index] + self.ramp_frames => {
                now + self.faded(before, frame)
            }
            _ => now,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sequence() -> Sequence {
        let tones = vec![
            Tone::single(997.0, 0.1, 4_800),
            Tone::single(997.0, 0.2, 9_600),
            Tone::single(63.0, 0.2, 4_801),
        ];
        Sequence::new(48_000.0, tones)
    }

    #[test]
    fn a_tone_stands_alone_10_ms_after_its_start_until_the_next_one() {
        let sequence = sequence();
        assert_eq!(sequence.steady(0), 480..4_800);
        assert_eq!(sequence.steady(2), 14_880..19_201);
        assert_eq!(sequence.frame_count(), 19_681);
        for frame in sequence.steady(1) {
            let want = 0.2 * (TAU * 997.0 / 48_000.0 * frame as f64).sin();
            assert!((sequence.sample(frame) - want).abs() < 1e-11, "{frame}");
        }
    }

    #[test]
    fn fades_pass_no_peak_and_begin_and_end_in_silence() {
        let sequence = sequence();
        assert_eq!(sequence.sample(0), 0.0);
        assert!(sequence.sample(19_680).abs() < 1e-5);
        for frame in 0..sequence.frame_count() {
            let bound = if frame < 4_800 { 0.1 } else { 0.2 };
            assert!(sequence.sample(frame).abs() <= bound + 1e-12, "{frame}");
        }
    }

    #[test]
    fn a_level_that_steps_leaves_one_sine_without_a_jump() {
        // The steepest way of a sine of peak 0.2 at 997 Hz is 0.2 * 2 pi 997 / 48000 = 0.0261 a
        // frame; the fade of 0.1 over 480 frames adds at most 0.1 * pi / 960 = 0.0003.
        let sequence = sequence();
        for frame in 4_700..5_400 {
            let step = (sequence.sample(frame + 1) - sequence.sample(frame)).abs();
            assert!(step < 0.0265, "{frame}: {step}");
        }
    }
}
