//! What is played: wake-up noise, an opening burst, the body of an analysis, a closing burst.

use std::ops::Range;

use crate::burst::{self, BURST_S, End};
use crate::decibel::{amplitude, db};
use crate::noise;
use crate::window::flat_top;

/// Silence in seconds between the wake-up noise and the opening burst.
const GAP_AFTER_WAKE_S: f64 = 0.05;
/// Silence in seconds between the opening burst and the body: late sound of the link ends in it.
const GAP_BEFORE_BODY_S: f64 = 0.15;
/// Silence in seconds between the body and the closing burst.
const GAP_AFTER_BODY_S: f64 = 0.3;
/// Silence in seconds after the last rendered frame: a link may be late by 1 s.
const TAIL_S: f64 = 1.1;
/// Fades of the wake-up noise in seconds.
const WAKE_FADE_S: f64 = 0.01;
/// Peak of the wake-up noise against the stimulus', in dB.
const WAKE_DB: f64 = -20.0;

/// The part of a stimulus that an analysis measures on: a pure function of the frame.
pub trait Body: Send {
    /// Length in frames.
    fn frame_count(&self) -> usize;

    /// Sample at `frame`, linear, full scale = 1. Only asked for frames below the length.
    fn sample(&self, frame: usize) -> f64;
}

/// Where the parts of a stimulus lie, in frames of `rate_hz` from its first frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Layout {
    /// Rate in Hz that the frames are counted in.
    pub rate_hz: f64,
    /// The opening burst.
    pub opening: Range<usize>,
    /// The body of the analysis.
    pub body: Range<usize>,
    /// The closing burst; the stimulus ends with it.
    pub closing: Range<usize>,
}

impl Layout {
    /// Lays out a stimulus with `wake_s` seconds of wake-up noise and a body of
    /// `body_frame_count` frames.
    #[must_use]
    pub fn new(rate_hz: f64, wake_s: f64, body_frame_count: usize) -> Self {
        let frames = |seconds: f64| (seconds * rate_hz).round() as usize;
        let burst_frame_count = frames(BURST_S) + 1;
        let opening_first = frames(wake_s) + frames(GAP_AFTER_WAKE_S);
        let opening = opening_first..opening_first + burst_frame_count;
        let body_first = opening.end + frames(GAP_BEFORE_BODY_S);
        let body = body_first..body_first + body_frame_count;
        let closing_first = body.end + frames(GAP_AFTER_BODY_S);
        Self {
            rate_hz,
            opening,
            body,
            closing: closing_first..closing_first + burst_frame_count,
        }
    }

    /// Length of the stimulus in frames.
    #[must_use]
    pub fn frame_count(&self) -> usize {
        self.closing.end
    }

    /// Frames of silence to capture after the last one, so that a link late by 1 s is heard whole.
    #[must_use]
    pub fn tail_frame_count(&self) -> usize {
        (TAIL_S * self.rate_hz).round() as usize
    }

    /// Frames round the body in which nothing but the body sounds: from half of the silence
    /// before it to all but a hundredth of a second of the silence after it.
    #[must_use]
    pub fn body_window(&self) -> Range<usize> {
        let before = (self.body.start - self.opening.end) / 3;
        let guard = (0.01 * self.rate_hz) as usize;
        self.body.start - before..self.closing.start - guard
    }

    /// The same places counted in frames of another rate, rounded outwards.
    #[must_use]
    pub fn at_rate(&self, rate_hz: f64) -> Self {
        let ratio = rate_hz / self.rate_hz;
        let scale = |range: &Range<usize>| {
            let (from, to) = (range.start as f64 * ratio, range.end as f64 * ratio);
            (from + 1e-6).floor() as usize..(to - 1e-6).ceil() as usize
        };
        Self {
            rate_hz,
            opening: scale(&self.opening),
            body: scale(&self.body),
            closing: scale(&self.closing),
        }
    }
}

/// A whole stimulus: a pure function of its parameters and the frame.
pub struct Stimulus<B> {
    layout: Layout,
    wake_s: f64,
    seed: u64,
    peak: f64,
    burst_peak: f64,
    body: B,
}

impl<B: Body> Stimulus<B> {
    /// Puts a stimulus round `body`.
    ///
    /// `peak_dbfs` is the largest level of body and bursts; the wake-up noise peaks 20 dB below
    /// it. `burst_dbfs` is the level of the bursts. `seed` decides the wake-up noise alone.
    #[must_use]
    pub fn new(
        rate_hz: f64,
        wake_s: f64,
        seed: u64,
        peak_dbfs: f64,
        burst_dbfs: f64,
        body: B,
    ) -> Self {
        Self {
            layout: Layout::new(rate_hz, wake_s, body.frame_count()),
            wake_s,
            seed,
            peak: amplitude(peak_dbfs),
            burst_peak: amplitude(burst_dbfs),
            body,
        }
    }

    /// Where its parts lie.
    #[must_use]
    pub fn layout(&self) -> &Layout {
        &self.layout
    }

    /// What its body is.
    #[must_use]
    pub fn body(&self) -> &B {
        &self.body
    }

    /// Bound of the rendered samples in dBFS: the largest of body, bursts and wake-up noise.
    #[must_use]
    pub fn peak_dbfs(&self) -> f64 {
        db(self.peak.max(self.burst_peak))
    }

    /// Fills `samples` with the stimulus from `first_frame` on; silence after its end.
    pub fn render(&self, first_frame: u64, samples: &mut [f32]) {
        for (frame, sample) in (first_frame..).zip(samples) {
            *sample = self.sample(usize::try_from(frame).unwrap_or(usize::MAX)) as f32;
        }
    }

    /// The whole stimulus, `frame_count` samples.
    #[must_use]
    pub fn whole(&self) -> Vec<f32> {
        let mut samples = vec![0.0; self.layout.frame_count()];
        self.render(0, &mut samples);
        samples
    }

    /// Whether `sent` is this stimulus, its wake-up apart: same length within a frame, and no
    /// more than 1 % (RMS) away, by every seventh frame. So much covers a copy in 16 bit, and no
    /// other parameters.
    #[must_use]
    pub fn is_what_was_sent(&self, sent: &[f32]) -> bool {
        let (from, to) = (self.layout.opening.start, self.layout.frame_count());
        let finite = sent.iter().all(|sample| sample.is_finite());
        if !finite || sent.len().abs_diff(to) > 1 {
            return false;
        }
        let (mut off, mut power) = (0.0, 0.0);
        for (frame, &got) in sent.iter().enumerate().take(to).skip(from).step_by(7) {
            let want = self.sample(frame);
            off += (f64::from(got) - want).powi(2);
            power += want * want;
        }
        off <= 1e-4 * power
    }

    fn sample(&self, frame: usize) -> f64 {
        let layout = &self.layout;
        let since_s = |first: usize| (frame - first) as f64 / layout.rate_hz;
        if layout.body.contains(&frame) {
            self.body.sample(frame - layout.body.start)
        } else if layout.opening.contains(&frame) {
            self.burst_peak * burst::sample(End::Opening, since_s(layout.opening.start))
        } else if layout.closing.contains(&frame) {
            self.burst_peak * burst::sample(End::Closing, since_s(layout.closing.start))
        } else if frame < layout.opening.start {
            let fade = flat_top(since_s(0), 0.0, WAKE_FADE_S, WAKE_FADE_S, self.wake_s);
            self.peak * amplitude(WAKE_DB) * fade * noise::white(self.seed, frame as u64)
        } else {
            0.0
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sweep::Sweep;

    fn stimulus(wake_s: f64) -> Stimulus<Sweep> {
        let sweep = Sweep::new(48_000.0, 0.1, 20.0, 20_000.0, 1.0);
        Stimulus::new(48_000.0, wake_s, 3, -20.0, -20.0, sweep)
    }

    #[test]
    fn any_block_is_the_same_as_the_whole_and_silence_follows() {
        let stimulus = stimulus(0.5);
        let whole = stimulus.whole();
        let mut block = vec![1.0; 30_000];
        stimulus.render(40_000, &mut block);
        assert_eq!(block[..], whole[40_000..70_000]);
        stimulus.render(whole.len() as u64, &mut block);
        assert!(block.iter().all(|&x| x == 0.0));
    }

    #[test]
    fn wake_up_noise_peaks_20_db_below_the_stimulus_and_nothing_passes_its_peak() {
        let stimulus = stimulus(1.5);
        let whole = stimulus.whole();
        let peak = |from: usize, to: usize| {
            whole[from..to]
                .iter()
                .fold(0f32, |peak, x| peak.max(x.abs()))
        };
        assert!((peak(0, 72_000) / 0.01 - 1.0).abs() < 0.01);
        assert!(peak(0, whole.len()) <= 0.1 * (1.0 + 1e-6));
        assert!((stimulus.peak_dbfs() + 20.0).abs() < 1e-9);
    }

    #[test]
    fn a_16_bit_copy_is_what_was_sent_and_another_level_or_length_is_not() {
        let stimulus = stimulus(0.5);
        let whole = stimulus.whole();
        let coarse = |gain: f32| -> Vec<f32> {
            let round = |x: &f32| (x * gain * 32_768.0).round() / 32_768.0;
            whole.iter().map(round).collect()
        };
        assert!(stimulus.is_what_was_sent(&coarse(1.0)));
        assert!(!stimulus.is_what_was_sent(&coarse(1.03)));
        assert!(!stimulus.is_what_was_sent(&whole[..whole.len() - 9]));
        let mut damaged = whole;
        damaged[50_000] = f32::NAN;
        assert!(!stimulus.is_what_was_sent(&damaged));
    }

    #[test]
    fn no_wake_up_leaves_silence_before_the_opening_burst() {
        let whole = stimulus(0.0).whole();
        assert!(whole[..2_400].iter().all(|&x| x == 0.0));
        assert!(whole[2_400..9_600].iter().any(|&x| x.abs() > 0.09));
    }
}
