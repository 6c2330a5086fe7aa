//! Looks for a link that is not known or was lost, learns it, and has it judged anew from there.

use super::{DELAY_MAX_S, LOST_BELOW, Lock, NoiseWatch, POWER_LEAST, SEARCH_EVERY_S, SEARCH_S};
use crate::watch::{
    Lapse, LapseKind,
    delay::{self, Found},
    equaliser::{AHEAD, Equaliser, TAPS},
    moments::Window,
    stretch::Stretch,
};

/// A link is found where it is as like the cable as this; noise is not once in 10^50 searches.
const LIKENESS_MIN: f64 = 0.2;
/// How often a search's half second is learnt, to begin with.
const LESSONS: usize = 4;
/// Learning backwards goes in lessons of this length, in seconds.
const LESSON_S: f64 = 0.01;
/// A delay that stepped by less than this has not, in seconds.
const SHIFT_LEAST_S: f64 = 0.0003;
/// Two clocks may differ by so much: the 300 ppm of a carried player, and a little.
const DRIFT_MOST: f64 = 330e-6;

impl NoiseWatch {
    /// Looks for the link in the latest sound.
    pub(super) fn search(&mut self) {
        let length = self.samples(SEARCH_S) as usize;
        let end = self.search_at;
        let longest = self.samples(DELAY_MAX_S);
        let from = end - length as i64;
        self.search_at = end + self.search_pause;
        let link = &self.link[self.at(&self.link, from, length)];
        let cable = &self.cable[self.at(&self.cable, from - longest, length + longest as usize)];
        let power = mean_power(&cable[longest as usize..]);
        if power < POWER_LEAST {
            self.silent_until = end;
            return;
        }
        self.search_pause = (2 * self.search_pause).min(self.samples(SEARCH_EVERY_S.1));
        let found = delay::find(link, cable).filter(|found| found.likeness.abs() >= LIKENESS_MIN);
        if let Some(found) = found {
            self.found(found, from, end, power);
        }
    }

    /// Learns the link from a half second in which it was found, and judges anew from where it was
    /// lost.
    fn found(&mut self, found: Found, from: i64, end: i64, power: f64) {
        let mut lock = Lock {
            delay: found.delay as i64,
            equaliser: Equaliser::new(),
            loudness: 0.0,
            power,
        };
        let last = end.min(self.end_sample() - (TAPS - AHEAD) as i64);
        // What the link carries before this was in the cable before anybody listened.
        let known = lock.delay + TAPS as i64;
        for _ in 0..LESSONS {
            self.learn(&mut lock, from.max(known)..last);
        }
        lock.loudness = lock.equaliser.loudness();
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

    fn learn(&self, lock: &mut Lock, samples: std::ops::Range<i64>) {
        for sample in samples {
            let sound = self.sound(sample, lock.delay);
            lock.delay += lock.equaliser.learn(sound, self.link_at(sample));
        }
    }

    /// Learns backwards in time as far as the link carried its sound, so that what was learnt fits
    /// the moment from which on it is judged again, whatever the two clocks have drifted since.
    pub(super) fn learn_back(&self, lock: &mut Lock, from: i64, until: i64) {
        let block = self.samples(LESSON_S);
        let mut end = from;
        while end - block >= until {
            let (mut both, mut predicted) = (0.0, 0.0);
            for sample in end - block..end {
                let one = lock.equaliser.predict(self.sound(sample, lock.delay));
                both += one * self.link_at(sample);
                predicted += one * one;
            }
            if both < LOST_BELOW * predicted {
                return;
            }
            for sample in (end - block..end).rev() {
                let sound = self.sound(sample, lock.delay);
                lock.delay += lock.equaliser.learn(sound, self.link_at(sample));
            }
            end -= block;
        }
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
        }
    }
}

fn mean_power(samples: &[f64]) -> f64 {
    samples.iter().map(|x| x * x).sum::<f64>() / samples.len().max(1) as f64
}
