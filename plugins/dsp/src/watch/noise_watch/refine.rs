//! Judges a longer stretch once more, when the link has been learnt anew after it.
//!
//! A carried player's clock may be 300 ppm off: in 100 ms of silence the link drifts by half a sample
//! of the watch. The sound that comes back is then predicted badly, and the end of the stretch seems
//! late by as long as that takes to be learnt. So what is learnt in the 100 ms behind it is carried
//! back to its end, and the stretch is judged with that.

use super::NoiseWatch;
use crate::watch::{Lapse, stretch::Stretch};

/// Shorter stretches are told as they are: 300 ppm make less than 0.2 samples of them. In seconds.
const LEAST_S: f64 = 0.03;
/// Time in which the link is learnt, in seconds: 2.5 of its time constants.
const LEARN_S: f64 = 0.1;
/// It is waited for no longer than this, in seconds.
const WAIT_MOST_S: f64 = 2.0;

/// A stretch that is over and is judged once more.
#[derive(Debug, Clone)]
pub struct Again {
    /// Its first sample.
    pub first: i64,
    stretch: Stretch,
    /// Sample at which it is judged.
    at: i64,
}

impl NoiseWatch {
    /// True where the open stretch, which is over, was judged only once and is long.
    pub(super) fn is_to_refine(&self) -> bool {
        let least = self.samples(LEAST_S);
        let earliest = self.first_sample + self.samples(super::DELAY_MAX_S) + super::TAPS as i64;
        let open = self.open.as_ref();
        open.is_some_and(|open| {
            !open.is_refined && open.last - open.first > least && open.first > earliest
        })
    }

    /// What is heard from a sample on is judged once more: nothing was learnt for a while before it.
    pub(super) fn judge_twice(&self, first: i64) -> Again {
        Again {
            first,
            stretch: Stretch::new(first),
            at: first + self.samples(LEARN_S),
        }
    }

    /// Sets the open stretch aside until the link has been learnt.
    pub(super) fn wait_for_more(&mut self, sample: i64) {
        let Some(stretch) = self.open.take() else {
            return;
        };
        let at = sample + self.samples(LEARN_S);
        let most = self.samples(WAIT_MOST_S);
        match &mut self.again {
            // The earlier one is judged with this one.
            Some(again) => again.at = at.min(again.first + most),
            None => {
                let first = stretch.first;
                self.again = Some(Again { first, stretch, at });
            }
        }
    }

    /// Judges the stretch that was set aside, when it is time.
    pub(super) fn refine(&mut self) {
        if self.open.is_some() || self.again.as_ref().is_none_or(|again| self.next < again.at) {
            return;
        }
        let (Some(again), Some(mut lock)) = (self.again.take(), self.lock.take()) else {
            return;
        };
        self.learn_back(&mut lock, self.next, again.first);
        self.lock = Some(lock);
        let from = self.frame(again.first);
        self.lapses.retain(|lapse| lapse.start_frame < from);
        // The cable may have been silent since; what it was before is not known any more.
        self.quiet_until = self.quiet_until.min(again.first);
        self.judge_again(again.first, again.first, Some(Stretch::new(again.first)));
    }

    /// The lapses that are certain: what came since a stretch that was set aside is judged once more.
    pub(super) fn certain(&mut self) -> Vec<Lapse> {
        let mut certain = std::mem::take(&mut self.lapses);
        if let Some(again) = &self.again {
            let from = self.frame(again.first);
            let (before, since) = certain.into_iter().partition(|one| one.start_frame < from);
            certain = before;
            self.lapses = since;
        }
        certain
    }

    /// Tells the stretch that was set aside as it is.
    pub(super) fn give_up_refining(&mut self) {
        if let Some(again) = self.again.take() {
            let lapse = again
                .stretch
                .lapse(self.origin, self.decimation, self.rate_hz);
            self.lapses.extend(lapse);
            let in_time = |a: &Lapse, b: &Lapse| a.start_frame.total_cmp(&b.start_frame);
            self.lapses.sort_by(in_time);
        }
    }
}
