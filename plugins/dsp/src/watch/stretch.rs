//! A stretch in which the link did not carry its sound, from its first sample to its last.

use super::{Lapse, LapseKind, moments::Moments, noise_watch::Judgement};

/// Longer than this it is a dropout, shorter a click: a gap of 2 ms is measured as 1.5 to 2.5 ms.
const DROPOUT_S: f64 = 0.0015;
/// Below this it is nothing: windows of 2 ms do not show it.
const CLICK_S: f64 = 0.0005;
/// So little of the sound has to be left somewhere in it: -9 dB. One that only grazes the threshold
/// is the spread of a faint link.
const LEFT_MOST: f64 = 0.35;
/// A link with less than this of the power that is missing is silent: -10 dB.
const SILENT: f64 = 0.1;
/// More than this of the usual power of its sound is something that was added: 6 dB above it.
const LOUDER: f64 = 4.0;

/// What it is shows in its first samples, about a second: later ones may be the sound come back at
/// another delay, which is not known at once.
const KIND_SAMPLES: i64 = 16_000;

/// An open stretch.
#[derive(Debug, Clone)]
pub struct Stretch {
    /// Its first sample.
    pub first: i64,
    /// Its last sample so far.
    pub last: i64,
    /// True where its first sample was looked for, not told by a window.
    pub is_begin_sharp: bool,
    /// True where it is judged for the second time.
    pub is_refined: bool,
    is_replaced: bool,
    least_left: f64,
    expected: f64,
    /// Power that is missing of the sound, and power that is heard instead.
    missing: f64,
    instead: f64,
    /// Power that is heard in all.
    heard: f64,
}

impl Stretch {
    /// Begins at a sample.
    #[must_use]
    pub fn new(first: i64) -> Self {
        Self {
            first,
            last: first,
            is_begin_sharp: false,
            is_refined: false,
            is_replaced: false,
            least_left: f64::INFINITY,
            expected: 0.0,
            missing: 0.0,
            instead: 0.0,
            heard: 0.0,
        }
    }

    /// Begins at a sample, judged for the second time.
    #[must_use]
    pub fn refined(first: i64) -> Self {
        Self {
            is_begin_sharp: true,
            is_refined: true,
            ..Self::new(first)
        }
    }

    /// A stretch of so many samples in which the link was not to be found.
    #[must_use]
    pub fn silent(first: i64, samples: i64) -> Self {
        Self {
            last: first + samples - 1,
            least_left: 0.0,
            ..Self::new(first)
        }
    }

    /// Goes on to a sample with the sums over the window around it, in which the link usually has
    /// the power `usual`.
    pub fn grow(&mut self, sample: i64, judgement: &Judgement, moments: &Moments, usual: f64) {
        self.last = sample;
        self.least_left = self.least_left.min(judgement.left);
        self.is_replaced |= judgement.is_replaced();
        if sample - self.first < KIND_SAMPLES {
            self.expected += moments.predicted.max(usual);
            // A window that is half in the sound holds half of its power in both: only what is
            // beyond that tells of silence or of another sound.
            let carried = moments.both.max(0.0);
            self.missing += moments.predicted - carried;
            self.instead += moments.link - carried;
            self.heard += moments.link;
        }
    }

    /// What it was; `None` where it was nothing. `frames` make one sample, at `rate_hz`; sample 0
    /// stands at `origin`.
    #[must_use]
    pub fn lapse(&self, origin: u64, frames: usize, rate_hz: f64) -> Option<Lapse> {
        let frame_count = ((self.last - self.first + 1) * frames as i64) as f64;
        let length_s = frame_count / rate_hz;
        if length_s < CLICK_S || (self.least_left > LEFT_MOST && !self.is_replaced) {
            return None;
        }
        let kind = match () {
            () if self.heard > LOUDER * self.expected => LapseKind::Burst,
            () if length_s < DROPOUT_S => LapseKind::Click,
            () if self.instead <= SILENT * self.missing => LapseKind::Gap,
            () => LapseKind::Concealed,
        };
        Some(Lapse {
            kind,
            start_frame: origin as f64 + (self.first * frames as i64) as f64,
            frame_count,
        })
    }
}
