//! Looks for a link that is not known or was lost, learns it, and has it judged anew from there.

use std::ops::Range;

use super::{
    DELAY_MAX_S, EARLY_S, LOST_BELOW, Lock, NoiseWatch, POWER_LEAST, SEARCH_EVERY_S, SEARCH_S,
};
use crate::watch::{
    Lapse, LapseKind, delay,
    equaliser::TAPS,
    moments::{Moments, Window},
    stretch::Stretch,
};

/// A link is found where it is as like the cable as this; noise is not once in 10^50 searches.
const LIKENESS_MIN: f64 = 0.2;
/// How often a search's half second is learnt, to begin with.
const LESSONS: usize = 4;
/// It is learnt where it is whole, in lessons of this length, in seconds: over 128 degrees of freedom
/// one in 10^8 other sounds is like it by half.
const LESSON_S: f64 = 0.01;
/// Learning backwards goes in steps of this length, in seconds, so that little of what was lost
/// before is learnt with the last one.
const BACK_S: f64 = 0.002;
/// Within 3 ms the high-pass has settled: its transient falls by e in 0.4 ms.
const SETTLE_S: f64 = 0.003;
/// A delay that stepped by less than this has not, in seconds.
const SHIFT_LEAST_S: f64 = 0.0003;
/// Two clocks may differ by so much: the 300 ppm of a carried player, and a little.
const DRIFT_MOST: f64 = 330e-6;

impl NoiseWatch {
    /// Looks for the link in the latest sound.
    pub(super) fn search(&mut self) {
        let length = self.samples(SEARCH_S) as usize;
        let end = self.search_at;
        let (longest, early) = (self.samples(DELAY_MAX_S), self.samples(EARLY_S));
        let from = end - length as i64;
        self.search_at = end + self.search_pause;
        let link = &self.link[self.at(&self.link, from, length)];
        let around = length + (longest + early) as usize;
        let cable = &self.cable[self.at(&self.cable, from - longest, around)];
        let power = mean_power(&cable[longest as usize..][..length]);
        if power < POWER_LEAST {
            self.silent_until = end;
            return;
        }
        self.search_pause = (2 * self.search_pause).min(self.samples(SEARCH_EVERY_S.1));
        let found = delay::find(link, cable).filter(|found| found.likeness.abs() >= LIKENESS_MIN);
        if let Some(found) = found {
            let delay = found.delay as i64 - early;
            let gain = found.likeness * (mean_power(link) / power).sqrt();
            self.found(Lock::new(delay, -early, gain, power), from, end);
        }
    }

    /// Learns the link from a half second in which it was found, and judges anew from where it was
    /// lost.
    fn found(&mut self, mut lock: Lock, from: i64, end: i64) {
        let last = end.min(self.end_sample() - self.ahead());
        let known = self.known_from(&lock);
        for _ in 0..LESSONS {
            self.learn_whole(&mut lock, from.max(known)..last);
        }
        let lost = self.open.take();
        let again = lost.as_ref().map_or(self.silent_until, |open| open.first);
        let again = again.max(known);
        let earliest = self.first_sample + self.samples(DELAY_MAX_S) + TAPS as i64;
        self.learn_back(&mut lock, last, again.max(earliest));
        let before = self.lock.replace(lock);
        if let (Some(before), Some(open)) = (&before, &lost) {
            self.tell_shift(before.delay, open.first, end);
        }
        self.judge_again(again.max(earliest), again, lost);
        self.search_at = end + self.samples(SEARCH_EVERY_S.0);
        self.search_pause = self.samples(SEARCH_EVERY_S.0);
    }

    /// Goes back to a sample; a stretch that was lost up to there stays open.
    pub(super) fn judge_again(&mut self, sample: i64, lost_since: i64, lost: Option<Stretch>) {
        self.window = Window::new(2 * self.half() as usize + 1);
        self.next = sample;
        self.decide_from = sample;
        self.good_since = None;
        let unseen = sample - lost_since;
        self.open = match lost {
            Some(open) if unseen > 0 => Some(open),
            Some(open) => Some(Stretch::refined(open.first)),
            // Longer ago than is kept: the cable had its sound, and the link was not to be found.
            None => (unseen > 0).then(|| Stretch::silent(lost_since, unseen)),
        };
        if unseen > 0 && self.last_good.is_none() {
            self.judged_samples += unseen as u64;
        }
    }

    /// Before this the link carries what was in the cable before anybody listened, or what the filter
    /// makes of its beginning.
    pub(super) fn known_from(&self, lock: &Lock) -> i64 {
        (lock.delay + TAPS as i64).max(0) + self.samples(SETTLE_S)
    }

    /// Learns what of these samples the link carried, and what is usual of it: a part of them may be
    /// lost, and another sound would be learnt as well as its own.
    fn learn_whole(&self, lock: &mut Lock, samples: Range<i64>) {
        let block = self.samples(LESSON_S);
        let (mut predicted, mut rest) = (Vec::new(), Vec::new());
        let mut from = samples.start;
        while from + block <= samples.end {
            let moments = self.moments(lock, from..from + block);
            if moments.both >= LOST_BELOW * moments.predicted {
                predicted.push(moments.predicted / block as f64);
                rest.push(moments.rest / block as f64);
                for sample in from..from + block {
                    lock.learn(self.sound(sample, lock.delay), self.link_at(sample));
                }
            }
            from += block;
        }
        // Few lessons are among them in which little was learnt yet, or a part was lost.
        lock.predicted = median(predicted).unwrap_or(lock.predicted);
        lock.rest = median(rest).unwrap_or(lock.rest);
        lock.settle();
    }

    /// Learns backwards in time as far as the link carried its sound, so that what was learnt fits
    /// the moment from which on it is judged again, whatever the two clocks have drifted since.
    pub(super) fn learn_back(&self, lock: &mut Lock, from: i64, until: i64) {
        let block = self.samples(BACK_S);
        let mut end = from;
        while end - block >= until {
            let moments = self.moments(lock, end - block..end);
            let judgement = lock.judge(&moments, block as f64);
            if !judgement.is_lost() && !judgement.is_disturbed {
                for sample in (end - block..end).rev() {
                    lock.learn(self.sound(sample, lock.delay), self.link_at(sample));
                }
            }
            end -= block;
        }
        lock.settle();
    }

    /// The sums over these samples.
    fn moments(&self, lock: &Lock, samples: Range<i64>) -> Moments {
        let mut sums = Moments::default();
        for sample in samples {
            sums.add(&self.moments_of(lock, sample), 1.0);
        }
        sums
    }

    /// Tells of a step of the delay since a sample, where the clocks' drift until now is none.
    fn tell_shift(&mut self, delay_before: i64, since: i64, until: i64) {
        let moved = self
            .lock
            .as_ref()
            .map_or(0, |lock| lock.delay - delay_before);
        let drift = DRIFT_MOST * (until - since) as f64;
        if moved.abs() as f64 > SHIFT_LEAST_S * self.sample_hz + drift {
            self.lapses.push(Lapse {
                kind: LapseKind::Shift,
                start_frame: self.frame(since),
                frame_count: 0.0,
            });
            // What was set aside before it cannot be judged with what the link is now.
            self.give_up_refining();
        }
    }
}

fn mean_power(samples: &[f64]) -> f64 {
    samples.iter().map(|x| x * x).sum::<f64>() / samples.len().max(1) as f64
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}
