//! Clipping: tops that are cut flat.
//!
//! Near a smooth top the samples fall off as the square of their distance: where four are equal
//! within 4e-5, the next on either side is at most some 3e-4 lower. One that is 50 times that lower
//! met a ceiling.

use super::{Lapse, LapseKind};

/// Samples of a flat top, at 48 kHz.
const RUN_LEAST: f64 = 4.0;
/// They are equal within this: a little more than a step of 16 bit.
const EQUAL: f32 = 4e-5;
/// The samples before and after are lower by this share of the top.
const STEP: f32 = 5e-3;
/// A top is as high as the highest of the last seconds, but for this.
const HIGHEST: f32 = 0.97;
/// Time in which the highest top is forgotten, in seconds.
const FORGET_S: f64 = 10.0;
/// Tops below this are not looked at: -40 dBFS.
const TOP_LEAST: f32 = 0.01;
/// Tops closer than this are one clipping, in seconds.
const MERGE_S: f64 = 0.5;

/// Looks for flat tops of one channel.
#[derive(Debug, Clone)]
pub struct FlatTops {
    rate_hz: f64,
    forget: f32,
    highest: f32,
    /// Value and length of the run under way, and the sample before it.
    run: (f32, u64),
    before: f32,
    /// First and last frame of the clipping under way.
    open: Option<(f64, f64)>,
    done: Vec<Lapse>,
    latest: Option<f64>,
    next: u64,
}

impl FlatTops {
    /// At `rate_hz`.
    pub fn new(rate_hz: f64) -> Self {
        Self {
            rate_hz,
            forget: (-1.0 / (FORGET_S * rate_hz)).exp() as f32,
            highest: 0.0,
            run: (0.0, 0),
            before: 0.0,
            open: None,
            done: Vec::new(),
            latest: None,
            next: 0,
        }
    }

    /// Begins anew after frames were lost.
    pub fn begin(&mut self) {
        self.run = (0.0, 0);
        self.before = 0.0;
    }

    /// Takes the samples from a frame on.
    pub fn hear(&mut self, first_frame: u64, samples: &[f32]) {
        for (frame, &sample) in (first_frame..).zip(samples) {
            self.highest = (self.highest * self.forget).max(sample.abs());
            if (sample - self.run.0).abs() <= EQUAL {
                self.run.1 += 1;
                continue;
            }
            if self.is_flat_top(sample) {
                self.put((frame - self.run.1) as f64, frame as f64);
            }
            self.before = self.run.0;
            self.run = (sample, 1);
        }
        self.next = first_frame + samples.len() as u64;
    }

    /// The end of the last flat top.
    pub fn latest(&self) -> Option<f64> {
        self.latest
    }

    /// The clippings that are over; all where nothing more is to come.
    pub fn take(&mut self, ended: bool) -> Vec<Lapse> {
        let merge = MERGE_S * self.rate_hz;
        let is_over = |open: &(f64, f64)| ended || self.next as f64 - open.1 > merge;
        if self.open.as_ref().is_some_and(is_over) {
            self.tell();
        }
        std::mem::take(&mut self.done)
    }

    fn is_flat_top(&self, after: f32) -> bool {
        let (top, length) = self.run;
        let height = top.abs();
        let lower = |other: f32| height - other * top.signum() >= STEP * height;
        length as f64 >= RUN_LEAST * (self.rate_hz / 48_000.0).max(1.0)
            && height >= TOP_LEAST.max(HIGHEST * self.highest)
            && lower(self.before)
            && lower(after)
    }

    fn put(&mut self, from: f64, to: f64) {
        self.latest = Some(to);
        match &mut self.open {
            Some(open) if from - open.1 <= MERGE_S * self.rate_hz => open.1 = to,
            _ => {
                self.tell();
                self.open = Some((from, to));
            }
        }
    }

    fn tell(&mut self) {
        self.done.extend(self.open.take().map(|(from, to)| Lapse {
            kind: LapseKind::Clipped,
            start_frame: from,
            frame_count: to - from,
        }));
    }
}
