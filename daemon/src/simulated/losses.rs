//! Xruns: when frames get lost, and how many.
//!
//! They come an exponentially distributed time apart, or when the settings list them.

use super::{RigSpec, frames_of_s, random::Chance};
use crate::audio::Loss;

/// What of the captured frames is lost now, and what is heard after it.
pub struct Cut {
    /// So many of them are lost, the first ones.
    pub lost_now: usize,
    /// So many after these are heard now; the rest later.
    pub heard: usize,
    /// What to say about it.
    pub lost: Option<Loss>,
}

/// When frames get lost: at borders of periods.
#[derive(Debug)]
pub struct Losses {
    chance: Chance,
    mean_frames: f64,
    /// Stream frames of all losses, where the settings list them.
    listed: Vec<u64>,
    period_frames: u64,
    lost_frames: u64,
    /// Stream frame of the next loss; `None`: there is none.
    next: Option<u64>,
    /// How many there have been.
    count: u64,
}

impl Losses {
    /// The losses of a rig.
    pub fn new(spec: &RigSpec) -> Self {
        let mut losses = Self {
            chance: Chance::new(spec.rig.seed, "xruns", ""),
            listed: listed(spec),
            mean_frames: spec.rig.xrun_every_s * f64::from(spec.rate_hz),
            period_frames: spec.period_frames.max(1) as u64,
            lost_frames: spec.rig.xrun_frames,
            next: None,
            count: 0,
        };
        if losses.lost_frames > 0 {
            losses.next = losses.after(0);
        }
        losses
    }

    /// How many there have been.
    pub fn count(&self) -> u64 {
        self.count
    }

    /// The next loss after `frame`; `None` where none comes any more.
    fn after(&self, frame: u64) -> Option<u64> {
        if !self.listed.is_empty() {
            return self.listed.iter().copied().find(|next| *next > frame);
        }
        let wait = self.chance.exponential(self.count, self.mean_frames);
        (self.mean_frames > 0.0)
            .then(|| (frame + wait as u64 + 1).next_multiple_of(self.period_frames))
    }

    /// What becomes of `available` frames from `frame` on.
    pub fn cut(&mut self, frame: u64, available: usize) -> Cut {
        let until =
            |next: u64| usize::try_from(next - frame).map_or(available, |n| n.min(available));
        let Some(next) = self.next else {
            return Cut {
                lost_now: 0,
                heard: available,
                lost: None,
            };
        };
        if next > frame || available == 0 {
            return Cut {
                lost_now: 0,
                heard: until(next),
                lost: None,
            };
        }
        let end = next + self.lost_frames;
        if until(end) == available {
            // Wait until there is a frame to be heard after all that is lost.
            return Cut {
                lost_now: 0,
                heard: 0,
                lost: None,
            };
        }
        self.count += 1;
        self.next = self.after(end);
        let lost_now = until(end);
        let rest = available - lost_now;
        let heard = self
            .next
            .map_or(rest, |next| rest.min((next - end) as usize));
        Cut {
            lost_now,
            heard,
            lost: Some(Loss::Frames(self.lost_frames)),
        }
    }
}

/// The frames at which the settings list losses, at borders of periods.
fn listed(spec: &RigSpec) -> Vec<u64> {
    let period_frames = spec.period_frames.max(1) as u64;
    let frame = |s: &f64| frames_of_s(*s, f64::from(spec.rate_hz)).next_multiple_of(period_frames);
    spec.rig.xruns_at_s.iter().map(frame).collect()
}
