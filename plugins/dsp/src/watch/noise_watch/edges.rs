//! Where a lost stretch begins and ends, better than windows of 2 ms can tell.
//!
//! A sample of the link whose difference from the prediction has more than a quarter of the
//! prediction's power has lost more than half of its amplitude: -6 dB, an edge. Single samples
//! scatter; so the stretch is the one over which `rest² - predicted²/4` adds up to the most, near
//! the edges that the windows told. Where the sound is lost at once the sum turns at that sample.

use super::{Lock, NoiseWatch};
use crate::watch::{
    equaliser::{AHEAD, TAPS},
    stretch::Stretch,
};

/// So far on either side of what the windows told an edge is looked for, in seconds: half a window,
/// and as much for its scatter.
const REACH_S: f64 = 0.002;
/// -6 dB, as a ratio of powers.
const EDGE: f64 = 0.25;

impl NoiseWatch {
    /// Moves the beginning of the open stretch to where it is, once so much of it is known.
    pub(super) fn sharpen_begin(&mut self, sample: i64) {
        let is_known = |open: &Stretch| {
            !open.begin_is_sharp && sample > open.first + self.samples(2.0 * REACH_S)
        };
        if self.open.as_ref().is_some_and(is_known)
            && let Some(mut open) = self.open.take()
        {
            self.find_begin(&mut open);
            self.open = Some(open);
        }
    }

    fn find_begin(&self, open: &mut Stretch) {
        let Some(lock) = &self.lock else { return };
        let (reach, middle) = (self.samples(REACH_S), (open.first + open.last) / 2);
        let begin = open.first - reach..(open.first + reach).min(middle) + 1;
        open.begin_is_sharp = true;
        if self.are_kept(lock, &begin) {
            let found = self.longest_sum(lock, begin.rev());
            open.first = found.unwrap_or(open.first);
        }
    }

    /// True where all that these samples are predicted from is there.
    fn are_kept(&self, lock: &Lock, samples: &std::ops::Range<i64>) -> bool {
        let from = self.first_sample + lock.delay + AHEAD as i64;
        let to = self.next.min(self.end_sample() - (TAPS - AHEAD) as i64);
        samples.start >= from && samples.end <= to
    }

    /// Moves the edges of a stretch that is over to where they are, as far as its sound is still
    /// kept.
    pub(super) fn sharpen(&self, open: &mut Stretch) {
        if !open.begin_is_sharp {
            self.find_begin(open);
        }
        let Some(lock) = &self.lock else { return };
        let (reach, middle) = (self.samples(REACH_S), (open.first + open.last) / 2);
        let end = (open.last - reach).max(middle)..open.last + reach + 1;
        if self.are_kept(lock, &end) {
            let found = self.longest_sum(lock, end);
            open.last = found.unwrap_or(open.last);
        }
        if self.are_kept(lock, &(open.first..open.last + 1)) {
            open.rest_share = self.rest_share(lock, open);
        }
    }

    /// Difference from the prediction, and the prediction, of a sample.
    fn rest(&self, lock: &Lock, sample: i64) -> (f64, f64) {
        let predicted = lock.equaliser.predict(self.sound(sample, lock.delay));
        (self.link_at(sample) - predicted, predicted)
    }

    /// The sample up to which, outwards from within the stretch, most is lost.
    fn longest_sum(&self, lock: &Lock, outwards: impl Iterator<Item = i64> + Clone) -> Option<i64> {
        let pairs = outwards.clone().map(|sample| self.rest(lock, sample));
        let pairs: Vec<(f64, f64)> = pairs.collect();
        let power = |(_, predicted): &(f64, f64)| predicted * predicted;
        // Where the prediction happens to be small, noise alone must not carry the sum on.
        let usual = pairs.iter().map(power).sum::<f64>() / pairs.len().max(1) as f64;
        let (mut sum, mut most) = (0.0, (f64::NEG_INFINITY, None));
        for (sample, pair) in outwards.zip(&pairs) {
            sum += pair.0 * pair.0 - EDGE * power(pair).max(EDGE * usual);
            if sum > most.0 {
                most = (sum, Some(sample));
            }
        }
        most.1
    }

    /// Power of what was not predicted over that of what was, from edge to edge.
    fn rest_share(&self, lock: &Lock, open: &Stretch) -> f64 {
        let samples = open.first..=open.last.min(open.first + self.samples(1.0));
        let (mut rest, mut predicted) = (0.0, 0.0);
        for sample in samples {
            let pair = self.rest(lock, sample);
            rest += pair.0 * pair.0;
            predicted += pair.1 * pair.1;
        }
        rest / predicted.max(f64::MIN_POSITIVE)
    }
}
