//! The latest of a channel, as sums of squares: the power of any stretch is one subtraction.

/// The bass is kept out by a difference over so long, in seconds: its memory is as short, where a
/// high-pass would ring on into a mute.
const LAG_S: f64 = 1.0 / 16_000.0;

/// One channel, its bass taken out, from frame [`Track::first`] on.
#[derive(Debug, Clone)]
pub struct Track {
    lag: usize,
    /// The last `lag` samples.
    last: Vec<f32>,
    first: i64,
    /// `sums[k]` holds the squares of the first `k` frames.
    sums: Vec<f64>,
}

impl Track {
    /// A channel at `rate_hz`.
    pub fn new(rate_hz: f64) -> Self {
        let lag = (LAG_S * rate_hz).round().max(1.0) as usize;
        Self {
            lag,
            last: vec![0.0; lag],
            first: 0,
            sums: vec![0.0],
        }
    }

    /// Begins anew at a frame, in silence.
    pub fn begin(&mut self, frame: i64) {
        self.last.fill(0.0);
        self.first = frame;
        self.sums.clear();
        self.sums.push(0.0);
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
        let mut sum = self.sums.last().copied().unwrap_or_default();
        for (place, sample) in samples.iter().enumerate() {
            let before = match place.checked_sub(self.lag) {
                Some(before) => samples[before],
                None => self.last[place],
            };
            sum += f64::from(sample - before).powi(2);
            self.sums.push(sum);
        }
        self.last.extend_from_slice(samples);
        self.last.drain(..samples.len());
    }

    /// Mean power of the frames `from..to`; those that are not kept are left out. 0 of none.
    pub fn power(&self, from: i64, to: i64) -> f64 {
        let place = |frame: i64| frame.clamp(self.first, self.end()) - self.first;
        let (from, to) = (place(from) as usize, place(to) as usize);
        if from >= to {
            return 0.0;
        }
        ((self.sums[to] - self.sums[from]) / (to - from) as f64).max(0.0)
    }

    /// Forgets all but the last `kept` frames, once in a while.
    pub fn forget(&mut self, kept: i64) {
        let old = self.sums.len() as i64 - 1 - kept;
        if old > kept {
            self.first += old;
            self.sums.drain(..old as usize);
            // Small again, so that the silence after a loud hour is not lost in rounding.
            let base = self.sums[0];
            self.sums.iter_mut().for_each(|sum| *sum -= base);
        }
    }
}
