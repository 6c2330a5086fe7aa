//! A link that was found: what is known of it.

use super::LOST_BELOW;
use crate::watch::{equaliser::Equaliser, moments::Moments};

/// Time in which what is usual of the link and the cable is followed, in seconds.
const SLOW_S: f64 = 10.0;
/// Time in which its loudness just before an edge is followed, in seconds: a level that sways by 2 dB
/// a second is 1 dB off, a fade of 0.1 s moves it by 2 dB.
const LATELY_S: f64 = 0.5;
/// Another sound than the link's differs from the prediction by more than half of its power and four
/// times the power that usually is not predicted: one that is as loud differs by twice its power.
/// Of windows of 2 ms of Gaussian noise, 26 degrees of freedom, 4 in 10^11 have four times their
/// usual power (SciPy's chi2.sf).
const OTHER_FROM: (f64, f64) = (0.5, 4.0);
/// Another sound leaves less than this of the link's: as loud as that, 7 in 10^5 windows of 2 ms are
/// above (standard deviation 0.2). More is the link's own sound with something added.
const OTHER_BELOW: f64 = 0.75;

/// A link that was found.
#[derive(Debug, Clone)]
pub struct Lock {
    /// Samples by which the link is later than the cable; below 0 it is earlier.
    pub delay: i64,
    /// The delay is not moved below this.
    pub earliest: i64,
    pub equaliser: Equaliser,
    /// Usual loudness of the equaliser, and the one of the last half second.
    pub loudness: f64,
    pub lately: f64,
    /// Usual power of the cable, of what is predicted of the link, and of what is not predicted.
    pub power: f64,
    pub predicted: f64,
    pub rest: f64,
}

/// What a window says.
#[derive(Debug, Clone, Copy)]
pub struct Judgement {
    /// Share of the usual sound that is left.
    pub left: f64,
    /// There is more besides the link's sound than usual, so that it may be another sound.
    pub is_disturbed: bool,
}

impl Judgement {
    /// The link's sound is missing or replaced.
    pub fn is_lost(&self) -> bool {
        self.left < LOST_BELOW || self.is_replaced()
    }

    /// Another sound is in place of the link's.
    pub fn is_replaced(&self) -> bool {
        self.is_disturbed && self.left < OTHER_BELOW
    }
}

impl Lock {
    /// Found at a delay, as the cable's sound times `gain`, where the cable has this power.
    pub fn new(delay: i64, earliest: i64, gain: f64, power: f64) -> Self {
        Self {
            delay,
            earliest,
            equaliser: Equaliser::plain(gain),
            loudness: gain.abs(),
            lately: gain.abs(),
            power,
            predicted: gain * gain * power,
            rest: 0.0,
        }
    }

    /// Judges the sums over so many samples.
    pub fn judge(&self, moments: &Moments, length: f64) -> Judgement {
        let softer = (self.equaliser.loudness() / self.loudness).min(1.0);
        let (of_sound, of_rest) = OTHER_FROM;
        Judgement {
            left: softer * moments.both / moments.predicted.max(f64::MIN_POSITIVE),
            is_disturbed: moments.rest
                > of_sound * moments.predicted + of_rest * length * self.rest,
        }
    }

    /// Learns what the link made of `sound`.
    pub fn learn(&mut self, sound: &[f64], link: f64) {
        let may_lead = self.delay > self.earliest;
        self.delay += self.equaliser.learn(sound, link, may_lead);
    }

    /// What the link is now is usual.
    pub fn settle(&mut self) {
        self.loudness = self.equaliser.loudness();
        self.lately = self.loudness;
    }

    /// Follows what is usual by one sample of `sample_hz`, with the means of a window.
    pub fn follow(&mut self, moments: &Moments, length: f64, sample_hz: f64) {
        let loudness = self.equaliser.loudness();
        let slow = 1.0 / (SLOW_S * sample_hz);
        self.lately += (loudness - self.lately) / (LATELY_S * sample_hz);
        self.loudness += slow * (loudness - self.loudness);
        self.power += slow * (moments.carried / length - self.power);
        self.predicted += slow * (moments.predicted / length - self.predicted);
        self.rest += slow * (moments.rest / length - self.rest);
    }
}
