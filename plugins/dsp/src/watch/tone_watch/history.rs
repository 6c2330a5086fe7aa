//! The latest of a channel, turned by the tone: amplitude and power of any stretch are one
//! subtraction.

use std::f64::consts::TAU;

use crate::Complex64;

/// Sums from frame `first` on.
#[derive(Debug, Clone)]
pub struct History {
    /// Turns of the tone in a frame.
    turns: f64,
    first: i64,
    /// `sums[k]`: of the first `k` frames, the samples turned back by the tone, and their squares.
    sums: Vec<(Complex64, f64)>,
}

impl History {
    /// Of a tone of `freq_hz`.
    pub fn new(rate_hz: f64, freq_hz: f64) -> Self {
        Self {
            turns: freq_hz / rate_hz,
            first: 0,
            sums: vec![(Complex64::default(), 0.0)],
        }
    }

    /// Begins anew at a frame.
    pub fn begin(&mut self, frame: i64) {
        self.first = frame;
        self.sums.clear();
        self.sums.push((Complex64::default(), 0.0));
    }

    /// The first frame that is kept.
    pub fn first(&self) -> i64 {
        self.first
    }

    /// The frame after the last one.
    pub fn end(&self) -> i64 {
        self.first + self.sums.len() as i64 - 1
    }

    /// Takes the next samples.
    pub fn take(&mut self, samples: &[f32]) {
        let (mut turned, mut power) = self.sums.last().copied().unwrap_or_default();
        for (frame, &sample) in (self.end()..).zip(samples) {
            let x = f64::from(sample);
            let angle = TAU * (self.turns * frame as f64).fract();
            turned += Complex64::from_polar(2.0 * x, -angle);
            power += x * x;
            self.sums.push((turned, power));
        }
    }

    /// The tone's complex amplitude over the frames `from..to`, as far as they are kept.
    pub fn tone(&self, from: i64, to: i64) -> Complex64 {
        let (from, to) = (self.place(from), self.place(to));
        (self.sums[to].0 - self.sums[from].0) / (to - from).max(1) as f64
    }

    /// Mean power of the frames `from..to`, as far as they are kept.
    pub fn power(&self, from: i64, to: i64) -> f64 {
        let (from, to) = (self.place(from), self.place(to));
        ((self.sums[to].1 - self.sums[from].1) / (to - from).max(1) as f64).max(0.0)
    }

    /// Forgets all but the last `kept` frames, once in a while.
    pub fn forget(&mut self, kept: i64) {
        let old = self.sums.len() as i64 - 1 - kept;
        if old > kept {
            self.first += old;
            self.sums.drain(..old as usize);
            // Small again, so that nothing is lost in rounding.
            let base = self.sums[0];
            for sum in &mut self.sums {
                sum.0 -= base.0;
                sum.1 -= base.1;
            }
        }
    }

    fn place(&self, frame: i64) -> usize {
        (frame.clamp(self.first, self.end()) - self.first) as usize
    }
}
