//! Decides sample by sample whether the link carries its sound.

use super::{Lock, NoiseWatch, POWER_LEAST, SEARCH_EVERY_S, SEARCH_S};
use crate::watch::{equaliser::AHEAD, moments::Moments, stretch::Stretch};

/// Two lost stretches with less than this between them are one.
const JOIN_S: f64 = 0.003;
/// The cable is silent where it has less than this of its usual power: -12 dB.
const PRESENT: f64 = 1.0 / 16.0;
/// So long a link has to carry its sound at a stretch to be good, in seconds: loud noise in place of
/// its sound is like it by chance for windows of 2 ms, and not for ten of them on end.
const GOOD_LEAST_S: f64 = 0.02;
impl NoiseWatch {
    /// Takes the next sample into the window and decides on the one in its middle.
    pub(super) fn step(&mut self) {
        let Some(lock) = &self.lock else { return };
        let sample = self.next;
        let one = self.moments_of(lock, sample);
        self.next += 1;
        let moments = *self.window.push(one);
        let middle = sample - self.half();
        if middle >= self.decide_from {
            self.decide(middle, &moments);
        }
    }

    /// What one sample adds to the sums.
    pub(super) fn moments_of(&self, lock: &Lock, sample: i64) -> Moments {
        let sound = self.sound(sample, lock.delay);
        let predicted = lock.equaliser.predict(sound);
        let link = self.link_at(sample);
        let now = self.cable[(sample - self.first_sample) as usize];
        Moments {
            predicted: predicted * predicted,
            both: link * predicted,
            link: link * link,
            rest: (link - predicted).powi(2),
            carried: sound[AHEAD] * sound[AHEAD],
            now: now * now,
        }
    }

    fn decide(&mut self, sample: i64, moments: &Moments) {
        let length = self.window.filled() as f64;
        let Some(lock) = &mut self.lock else { return };
        let least = (PRESENT * lock.power).max(POWER_LEAST) * length;
        if moments.carried < least || moments.now < least {
            // The cable has no sound here, or not where the link would be heard with it.
            return self.without_cable(sample);
        }
        if sample < self.quiet_until {
            return;
        }
        // What is judged once more, after a search, counts once.
        if sample >= self.judged_to {
            self.judged_samples += 1;
            self.judged_to = sample + 1;
        }
        let usual = length * lock.predicted;
        let judgement = lock.judge(moments, length);
        if judgement.is_lost() {
            self.good_since = None;
            let open = self.open.get_or_insert_with(|| Stretch::new(sample));
            if open.first == sample {
                let whole = sample + (SEARCH_S * self.sample_hz) as i64;
                // Not again where it was searched already: that would find the same.
                self.search_at = self.search_at.max(whole);
                self.search_pause = (SEARCH_EVERY_S.0 * self.sample_hz) as i64;
            }
            open.grow(sample, &judgement, moments, usual);
            self.sharpen_begin();
            return;
        }
        self.close_stretch(sample, judgement.is_disturbed);
        if self.open.is_none() {
            self.good(sample, moments, length);
        }
    }

    /// The cable has no sound: what was lost just before may have been the cable's loss too.
    fn without_cable(&mut self, sample: i64) {
        self.good_since = None;
        let edge = 4 * self.half();
        self.quiet_until = sample + edge;
        if self
            .open
            .as_ref()
            .is_some_and(|open| open.last - open.first > edge)
        {
            self.close_stretch(sample, false);
        } else {
            self.open = None;
        }
    }

    /// The link carries its sound: it is learnt.
    fn good(&mut self, sample: i64, moments: &Moments, length: f64) {
        let since = *self.good_since.get_or_insert(sample);
        if sample - since >= self.samples(GOOD_LEAST_S) {
            self.last_good = Some(self.origin + (sample.max(0) * self.decimation as i64) as u64);
        }
        let Some(mut lock) = self.lock.take() else {
            return;
        };
        lock.learn(self.sound(sample, lock.delay), self.link_at(sample));
        lock.follow(moments, length, self.sample_hz);
        self.lock = Some(lock);
    }

    /// Ends the open stretch once it has been over for long enough. Where the link is disturbed it
    /// takes longer: another sound is like its own for 3 ms by chance.
    fn close_stretch(&mut self, sample: i64, is_disturbed: bool) {
        let least_s = if is_disturbed { GOOD_LEAST_S } else { JOIN_S };
        let least = self.samples(least_s);
        let is_over = |open: &Stretch| sample - open.last > least;
        if self.open.as_ref().is_some_and(is_over) {
            if self.is_to_refine() {
                self.wait_for_more(sample);
            } else {
                self.tell_open();
            }
        }
    }

    fn tell_open(&mut self) {
        let Some(mut open) = self.open.take() else {
            return;
        };
        self.sharpen(&mut open);
        self.lapses
            .extend(open.lapse(self.origin, self.decimation, self.rate_hz));
    }
}
