//! How the link stands to the cable: by how much it is later, and whether it lost level.

use crate::watch::{
    Lapse, LapseKind, delay,
    narrow::{Narrow, decimation},
};

/// Hum and handling noise below this are kept out.
const LOW_HZ: f64 = 150.0;
/// How much of the link a search compares, and the longest delay, in seconds.
const SEARCH_S: f64 = 1.0;
/// Time between searches, in seconds.
const EVERY_S: f64 = 2.0;
/// The link carries the cable's sound where it is as like it as this.
const LIKENESS_MIN: f64 = 0.3;
/// A delay that differs by more than this is believed once it was found so often in a row: a note
/// that is held is nearly as like itself one period later. In seconds: clocks that are 300 ppm apart
/// drift by 0.6 ms from one search to the next.
const JUMP_S: f64 = 0.001;
/// So often at first, and so often where another delay was known.
const FOUND_LEAST: (u32, u32) = (2, 3);
/// Levels are compared over so long, in seconds.
const BLOCK_S: f64 = 0.5;
/// Levels are compared below some 2 kHz, which every link carries: means over so many samples.
const SMOOTH: usize = 4;
/// Power that the cable has where levels are compared, and the share of its largest: -30 dB.
const CABLE_LEAST: (f64, f64) = (1e-7, 1e-3);
/// Level is lost below this, and back above that, in dB against the usual.
const LOST_DB: (f64, f64) = (-10.0, -6.0);
/// Share of a new level in the usual one.
const SHARE: f64 = 0.05;
/// One block may come from a passage of another colour; so many in a row do not.
const BLOCKS_LEAST: u32 = 2;

/// Compares link and cable.
#[derive(Debug)]
pub struct Balance {
    decimation: usize,
    sample_hz: f64,
    narrow: [Narrow; 2],
    /// Link and cable from sample `first` on, which counts from frame `origin`.
    link: Vec<f64>,
    cable: Vec<f64>,
    first: usize,
    origin: i64,
    search_at: usize,
    /// Next block of levels.
    block: usize,
    delay: Option<usize>,
    /// A delay that is not believed yet, and how often it was found in a row.
    doubtful: (usize, u32),
    usual_db: Option<f64>,
    cable_most: f64,
    /// Blocks in a row of which level was lost, and where they begin.
    lost: (u32, f64),
}

impl Balance {
    /// At `rate_hz`.
    pub fn new(rate_hz: f64) -> Self {
        let decimation = decimation(rate_hz);
        Self {
            decimation,
            sample_hz: rate_hz / decimation as f64,
            narrow: [Narrow::new(rate_hz, LOW_HZ), Narrow::new(rate_hz, LOW_HZ)],
            link: Vec::new(),
            cable: Vec::new(),
            first: 0,
            origin: 0,
            search_at: 0,
            block: 0,
            delay: None,
            doubtful: (0, 0),
            usual_db: None,
            cable_most: 0.0,
            lost: (0, 0.0),
        }
    }

    /// Begins anew at a frame; what is known of the link stays.
    pub fn begin(&mut self, frame: i64) {
        let rate_hz = self.sample_hz * self.decimation as f64;
        self.narrow = [Narrow::new(rate_hz, LOW_HZ), Narrow::new(rate_hz, LOW_HZ)];
        self.link.clear();
        self.cable.clear();
        self.first = 0;
        self.origin = frame;
        self.search_at = self.samples(2.0 * SEARCH_S);
        self.block = self.samples(SEARCH_S);
    }

    /// By how many frames the link is later; `None` until that is known.
    pub fn delay_frames(&self) -> Option<i64> {
        Some((self.delay? * self.decimation) as i64)
    }

    /// Takes frames of both. Gives a loss of level that is over. Where the link `is_muted`, its
    /// level tells nothing.
    pub fn hear(&mut self, link: &[f32], cable: &[f32], is_muted: bool) -> Option<Lapse> {
        self.narrow[0].take(link, &mut self.link);
        self.narrow[1].take(cable, &mut self.cable);
        while self.search_at <= self.end() {
            self.search();
            self.search_at += self.samples(EVERY_S);
        }
        let mut lapse = None;
        while self.block + self.samples(BLOCK_S) <= self.end() {
            if !is_muted {
                lapse = self.compare().or(lapse);
            }
            self.block += self.samples(BLOCK_S);
        }
        let kept = self.samples(2.0 * SEARCH_S + BLOCK_S);
        let old = (self.end() - self.first).saturating_sub(kept);
        if old > kept {
            self.link.drain(..old);
            self.cable.drain(..old);
            self.first += old;
        }
        lapse
    }

    /// No more is to come: level that is lost is told.
    pub fn close(&mut self) -> Option<Lapse> {
        self.tell(self.block)
    }

    fn samples(&self, seconds: f64) -> usize {
        (seconds * self.sample_hz).round() as usize
    }

    fn end(&self) -> usize {
        self.first + self.link.len()
    }

    fn search(&mut self) {
        let (end, length) = (self.search_at - self.first, self.samples(SEARCH_S));
        let link = &self.link[end - length..end];
        let cable = &self.cable[end - 2 * length..end];
        if power(link) < CABLE_LEAST.0 || power(cable) < CABLE_LEAST.0 {
            return;
        }
        let found = delay::find(link, cable).filter(|found| found.likeness.abs() >= LIKENESS_MIN);
        let Some(found) = found.map(|found| found.delay) else {
            return;
        };
        let jump = self.samples(JUMP_S);
        if self
            .delay
            .is_some_and(|known| known.abs_diff(found) <= jump)
        {
            self.delay = Some(found);
            self.doubtful.1 = 0;
            return;
        }
        let is_again = self.doubtful.1 > 0 && self.doubtful.0.abs_diff(found) <= jump;
        self.doubtful = (found, if is_again { self.doubtful.1 + 1 } else { 1 });
        let least = self.delay.map_or(FOUND_LEAST.0, |_| FOUND_LEAST.1);
        if self.doubtful.1 >= least {
            self.delay = Some(found);
            self.doubtful.1 = 0;
        }
    }

    /// Compares the levels of a block.
    fn compare(&mut self) -> Option<Lapse> {
        let delay = self.delay?;
        let length = self.samples(BLOCK_S);
        let from = self.block - self.first;
        let cable = low_power(&self.cable[from - delay..from - delay + length]);
        let link = low_power(&self.link[from..from + length]);
        self.cable_most = self.cable_most.max(cable);
        if cable < CABLE_LEAST.0.max(CABLE_LEAST.1 * self.cable_most) {
            return None;
        }
        let level_db = crate::decibel::power_db(link / cable).max(-200.0);
        let usual_db = *self.usual_db.get_or_insert(level_db);
        let off_db = level_db - usual_db;
        if off_db < LOST_DB.0 || (self.lost.0 > 0 && off_db < LOST_DB.1) {
            if self.lost.0 == 0 {
                self.lost.1 = self.frame(self.block);
            }
            self.lost.0 += 1;
            return None;
        }
        self.usual_db = Some(usual_db + SHARE * off_db.clamp(-3.0, 3.0));
        self.tell(self.block)
    }

    fn tell(&mut self, until: usize) -> Option<Lapse> {
        let (blocks, start_frame) = std::mem::take(&mut self.lost);
        (blocks >= BLOCKS_LEAST).then(|| Lapse {
            kind: LapseKind::Faint,
            start_frame,
            frame_count: self.frame(until) - start_frame,
        })
    }

    fn frame(&self, sample: usize) -> f64 {
        self.origin as f64 + (sample * self.decimation) as f64
    }
}

fn power(samples: &[f64]) -> f64 {
    samples.iter().map(|x| x * x).sum::<f64>() / samples.len().max(1) as f64
}

/// Power of the means over [`SMOOTH`] samples.
fn low_power(samples: &[f64]) -> f64 {
    let mean = |few: &[f64]| few.iter().sum::<f64>() / SMOOTH as f64;
    let squares = samples.windows(SMOOTH).map(|few| mean(few).powi(2));
    squares.sum::<f64>() / samples.len().max(1) as f64
}
