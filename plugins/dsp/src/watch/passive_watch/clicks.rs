//! Lone clicks: a kink in the waveform, ten times sharper than all within 15 ms on either side.
//!
//! Strokes and stops ring on or hiss for more than a millisecond, and a voice's pulses come again;
//! what stands alone is a splice, or a few wrong samples.

use super::Grid;

/// Time that is looked at on either side, in seconds: longer than the period of a low voice.
const SIDE_S: f64 = 0.015;
/// Nearer than this belongs to the click, in seconds.
const OWN_S: f64 = 0.000_75;
/// So much sharper it has to be.
const SHARPER: f64 = 10.0;
/// The cable has it too where its sound is so much sharper there.
const SHARPER_CABLE: f64 = 5.0;
/// Kinks below this are not told: -54 dBFS.
const LEAST: f32 = 2e-3;

/// The sharpest kink of each hop.
#[derive(Debug, Clone)]
pub struct Clicks {
    grid: Grid,
    lag: usize,
    /// The last `2 lag` samples.
    last: Vec<f32>,
    first: i64,
    /// Sharpest kink of each whole hop from `first` on, and of the one under way, with its frames.
    kinks: Vec<f32>,
    now: (f32, i64),
}

impl Clicks {
    /// On a grid of frames.
    pub fn new(grid: Grid) -> Self {
        let lag = (grid.rate_hz / 48_000.0).round().max(1.0) as usize;
        Self {
            grid,
            lag,
            last: vec![0.0; 2 * lag],
            first: 0,
            kinks: Vec::new(),
            now: (0.0, 0),
        }
    }

    /// Begins anew at a frame.
    pub fn begin(&mut self, frame: i64) {
        self.first = frame;
        self.last.fill(0.0);
        self.kinks.clear();
        self.now = (0.0, 0);
    }

    /// Takes the next samples: the second difference tells of kinks.
    pub fn take(&mut self, samples: &[f32]) {
        self.last.extend_from_slice(samples);
        for place in 0..samples.len() {
            let [a, b, c] = [0, self.lag, 2 * self.lag].map(|lag| self.last[place + lag]);
            self.now.0 = self.now.0.max((a - 2.0 * b + c).abs());
            self.now.1 += 1;
            if self.now.1 == self.grid.hop() {
                self.kinks.push(self.now.0);
                self.now = (0.0, 0);
            }
        }
        self.last.drain(..samples.len());
    }

    /// The frame of a lone click; asked for every hop, each click is given once.
    pub fn lone(&self, frame: i64) -> Option<i64> {
        let side = self.hops(SIDE_S);
        let at = (frame - self.first) / self.grid.hop() - 1 - side;
        let kink = *self.kinks.get(usize::try_from(at).ok()?)?;
        if kink < LEAST || at < side {
            return None;
        }
        let own = self.hops(OWN_S);
        let is_sharpest =
            self.sharpest(at - own, at) < kink && self.sharpest(at + 1, at + own + 1) <= kink;
        let is_lone = f64::from(self.beside(at)) * SHARPER <= f64::from(kink);
        (is_sharpest && is_lone).then(|| self.first + at * self.grid.hop())
    }

    /// True where this channel has a click within 2 ms of a frame.
    pub fn stands_out(&self, frame: i64) -> bool {
        let at = (frame - self.first) / self.grid.hop();
        let near = self.hops(0.002);
        let kink = self.sharpest(at - near, at + near + 1);
        f64::from(self.beside(at)) * SHARPER_CABLE <= f64::from(kink)
    }

    /// Forgets all but the last `kept` frames, once in a while.
    pub fn forget(&mut self, kept: i64) {
        let kept = kept / self.grid.hop();
        let old = self.kinks.len() as i64 - kept;
        if old > kept {
            self.kinks.drain(..old as usize);
            self.first += old * self.grid.hop();
        }
    }

    fn hops(&self, seconds: f64) -> i64 {
        self.grid.frames(seconds) / self.grid.hop()
    }

    /// Sharpest kink on both sides of a hop.
    fn beside(&self, at: i64) -> f32 {
        let (own, side) = (self.hops(OWN_S), self.hops(SIDE_S));
        let before = self.sharpest(at - side, at - own);
        before.max(self.sharpest(at + own + 1, at + side + 1))
    }

    fn sharpest(&self, from: i64, to: i64) -> f32 {
        let place = |hop: i64| hop.clamp(0, self.kinks.len() as i64) as usize;
        let kinks = &self.kinks[place(from)..place(to).max(place(from))];
        kinks.iter().copied().fold(0.0, f32::max)
    }
}
