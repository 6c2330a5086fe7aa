//! Xruns: when frames get lost, and how many.

use super::{RigSpec, random::Chance};
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

/// When frames get lost: at borders of periods, an exponentially distributed time apart.
#[derive(Debug)]
pub struct Losses {
    chance: Chance,
    mean_frames: f64,
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
            mean_frames: spec.rig.xrun_every_s * f64::from(spec.rate_hz),
            period_frames: spec.period_frames.max(1) as u64,
            lost_frames: spec.rig.xrun_frames,
            next: None,
            count: 0,
        };
        if losses.mean_frames > 0.0 && losses.lost_frames > 0 {
            losses.next = Some(losses.after(0));
        }
        losses
    }

    /// How many there have been.
    pub fn count(&self) -> u64 {
        self.count
    }

    /// The next loss after `frame`.
    fn after(&self, frame: u64) -> u64 {
        let wait = self.chance.exponential(self.count, self.mean_frames);
        (frame + wait as u64 + 1).next_multiple_of(self.period_frames)
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
        self.next = Some(self.after(end));
        let lost_now = until(end);
        let heard = (self.after(end) - end).min((available - lost_now) as u64) as usize;
        Cut {
            lost_now,
            heard,
            lost: Some(Loss::Frames(self.lost_frames)),
        }
    }
}
