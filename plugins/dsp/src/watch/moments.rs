//! Sums over the last 2 ms: what the decisions are made from.

/// What one sample adds.
#[derive(Debug, Clone, Copy, Default)]
pub struct Moments {
    /// Square of what was predicted.
    pub predicted: f64,
    /// Link times predicted.
    pub both: f64,
    /// Square of the link.
    pub link: f64,
    /// Square of what of the link was not predicted.
    pub rest: f64,
    /// Square of the cable's sound that the link carries here.
    pub carried: f64,
    /// Square of the cable's sound at this moment of the capture.
    pub now: f64,
}

impl Moments {
    /// Adds `other`, times `sign`.
    pub fn add(&mut self, other: &Self, sign: f64) {
        self.predicted += sign * other.predicted;
        self.both += sign * other.both;
        self.link += sign * other.link;
        self.rest += sign * other.rest;
        self.carried += sign * other.carried;
        self.now += sign * other.now;
    }
}

/// The sum over the latest samples.
#[derive(Debug, Clone)]
pub struct Window {
    ring: Vec<Moments>,
    at: usize,
    filled: usize,
    sum: Moments,
}

impl Window {
    /// Of so many samples, empty at first.
    #[must_use]
    pub fn new(length: usize) -> Self {
        Self {
            ring: vec![Moments::default(); length],
            at: 0,
            filled: 0,
            sum: Moments::default(),
        }
    }

    /// How many samples are in it.
    #[must_use]
    pub fn filled(&self) -> usize {
        self.filled
    }

    /// Takes one more sample and lets the oldest go.
    pub fn push(&mut self, one: Moments) -> &Moments {
        let oldest = std::mem::replace(&mut self.ring[self.at], one);
        self.at += 1;
        self.filled = self.ring.len().min(self.filled + 1);
        if self.at == self.ring.len() {
            // Added up anew once a round, so that no rounding error stays.
            self.at = 0;
            self.sum = Moments::default();
            self.ring.iter().for_each(|each| self.sum.add(each, 1.0));
        } else {
            self.sum.add(&one, 1.0);
            self.sum.add(&oldest, -1.0);
        }
        &self.sum
    }
}
