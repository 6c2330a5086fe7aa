//! Where a lost stretch begins and ends, to a few samples.
//!
//! Windows of 2 ms smear an edge, and within another sound they are like the link's by chance. So
//! near the edges that they told, the sample is looked for at which the sum of
//! `rest^2 - (1/4 + usual) predicted^2` turns, where `rest` is what of the link was not predicted,
//! and `usual` its share of the power while the link is whole. In silence a sample adds 3/4 of the
//! power P of the sound on average, in another sound of that power 7/4; while the link is whole it
//! takes P/4. Where the link fades, `rest` is a part of what was predicted: the sum turns at -6 dB
//! whatever the sound does there.
//!
//! Within another sound the edge may still seem to be k samples too far inside: where these add up
//! to less than 0, which for 2 P times chi-square of 0.8 k degrees of freedom (6.4 of 8 kHz) has the
//! probability `P(chi^2 < k/10)`: 5 % at 4 samples, 0.5 % at 8 (0.5 ms), 8 in 10^5 at 16 and 1 in
//! 10^6 at 24 (1.5 ms); from SciPy's chi2.cdf.

use std::ops::Range;

use super::NoiseWatch;
use crate::watch::{equaliser::AHEAD, stretch::Stretch};

/// So far on either side of what the windows told an edge is looked for, in seconds: a window and a
/// half.
const REACH_S: f64 = 0.003;
/// -6 dB, as a ratio of powers.
const EDGE: f64 = 0.25;

impl NoiseWatch {
    /// Moves the beginning of the open stretch to where it is, once so much of it is known, and with
    /// what was known of the link before it.
    pub(super) fn sharpen_begin(&mut self) {
        let enough = 2 * self.samples(REACH_S);
        let is_due = |open: &Stretch| !open.is_begin_sharp && self.next > open.first + enough;
        if self.open.as_ref().is_some_and(is_due)
            && let Some(mut open) = self.open.take()
        {
            self.find_begin(&mut open);
            self.open = Some(open);
        }
    }

    /// Moves the edges of a stretch that is over to where they are.
    pub(super) fn sharpen(&self, open: &mut Stretch) {
        if !open.is_begin_sharp {
            self.find_begin(open);
        }
        let reach = self.samples(REACH_S);
        let from = (open.last - reach).max((open.first + open.last) / 2);
        let found = self.turn(from..open.last + reach + 1, |around| around);
        open.last = found.unwrap_or(open.last);
    }

    fn find_begin(&self, open: &mut Stretch) {
        let reach = self.samples(REACH_S);
        let to = (open.first + reach).min((open.first + open.last) / 2);
        // Before this nothing was judged.
        let from = (open.first - reach).max(self.decide_from.max(self.quiet_until));
        let found = self.turn(from..to + 1, Iterator::rev);
        open.first = found.unwrap_or(open.first);
        open.is_begin_sharp = true;
    }

    /// The sample at which the sum turns, going outwards through these; `None` where nothing seems
    /// lost, or not all that is needed is kept.
    fn turn<I: Iterator<Item = i64>>(
        &self,
        around: Range<i64>,
        outwards: impl FnOnce(Range<i64>) -> I,
    ) -> Option<i64> {
        let lock = self.lock.as_ref()?;
        let earliest = self.first_sample + lock.delay.max(0) + AHEAD as i64;
        let latest = self.end_sample() - self.ahead();
        if around.start < earliest || around.end > latest {
            return None;
        }
        let softer = (lock.equaliser.loudness() / lock.lately).min(1.0);
        let share = EDGE + lock.rest / lock.predicted.max(f64::MIN_POSITIVE);
        let (mut sum, mut most, mut turn) = (0.0, 0.0, None);
        for sample in outwards(around) {
            let sound = self.sound(sample, lock.delay);
            let usual = lock.equaliser.predict(sound) / softer;
            sum += (self.link_at(sample) - usual).powi(2) - share * usual * usual;
            if sum > most {
                (most, turn) = (sum, Some(sample));
            }
        }
        turn
    }
}
