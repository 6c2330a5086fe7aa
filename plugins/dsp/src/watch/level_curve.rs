//! The level of a return over hours, in memory that does not grow.

use std::num::NonZeroU64;

use serde::{Deserialize, Serialize};

/// Length of the first stretches in seconds.
const STRETCH_S: f64 = 0.1;

/// Stretches that are kept; at so many, each two neighbours become one.
const STRETCH_COUNT_MAX: usize = 2_000;

/// Level that is told of silence, in dBFS.
const FLOOR_DBFS: f64 = -200.0;

/// RMS level by stretches of 100 ms. After 200 s two neighbours become one of 200 ms, and so on:
/// of each stretch, the lowest level of any 100 ms in it is kept, so that no dip is lost. 24 h have
/// 1,055 points of 82 s.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LevelCurve {
    rate_hz: f64,
    /// Frames of the shortest stretch.
    frame_count: NonZeroU64,
    /// Shortest stretches in each kept one.
    thinning: NonZeroU64,
    /// Lowest power of each stretch; `None` where nothing whole was heard.
    powers: Vec<Option<f64>>,
    /// The shortest stretch under way: its number, its power so far and its frames so far.
    now: (u64, f64, u64),
    last_power: Option<f64>,
}

impl LevelCurve {
    /// Starts at frame 0 of a capture at `rate_hz`.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let frame_count = (STRETCH_S * rate_hz).round() as u64;
        Self {
            rate_hz,
            frame_count: NonZeroU64::new(frame_count).unwrap_or(NonZeroU64::MIN),
            thinning: NonZeroU64::MIN,
            powers: Vec::new(),
            now: (0, 0.0, 0),
            last_power: None,
        }
    }

    /// Takes the frames from `first_frame` on. Stretches of which frames are missing are left out.
    pub fn hear(&mut self, first_frame: u64, samples: &[f32]) {
        let mut frame = first_frame;
        let mut rest = samples;
        while !rest.is_empty() {
            let number = frame / self.frame_count;
            if number != self.now.0 {
                self.now = (number, 0.0, 0);
            }
            let left = (number + 1) * self.frame_count.get() - frame;
            let count = rest.len().min(usize::try_from(left).unwrap_or(usize::MAX));
            let (heard, later) = rest.split_at(count);
            self.now.1 += heard.iter().map(|&x| f64::from(x).powi(2)).sum::<f64>();
            self.now.2 += count as u64;
            if self.now.2 == self.frame_count.get() {
                self.put(number, self.now.1 / self.now.2 as f64);
            }
            frame += count as u64;
            rest = later;
        }
    }

    /// The level of the last whole stretch, in dBFS.
    #[must_use]
    pub fn last_dbfs(&self) -> Option<f64> {
        self.last_power.map(rms_dbfs)
    }

    /// Middles of the stretches in seconds, and their levels in dBFS.
    #[must_use]
    pub fn points(&self) -> [Vec<f64>; 2] {
        let stretch_s = self.stretch_s();
        let there = self.powers.iter().enumerate();
        let there = there.filter_map(|(index, power)| Some((index, (*power)?)));
        let (x, y) = there
            .map(|(index, power)| ((index as f64 + 0.5) * stretch_s, rms_dbfs(power)))
            .unzip();
        [x, y]
    }

    /// Length of a point's stretch in seconds.
    #[must_use]
    pub fn stretch_s(&self) -> f64 {
        (self.thinning.get() * self.frame_count.get()) as f64 / self.rate_hz
    }

    fn put(&mut self, number: u64, power: f64) {
        self.last_power = Some(power);
        while number / self.thinning >= STRETCH_COUNT_MAX as u64 {
            self.thin();
        }
        // Below the most, as the loop made sure.
        let index = (number / self.thinning) as usize;
        if self.powers.len() <= index {
            self.powers.resize(index + 1, None);
        }
        let kept = &mut self.powers[index];
        *kept = Some(kept.map_or(power, |least| least.min(power)));
    }

    fn thin(&mut self) {
        let least = |pair: &[Option<f64>]| pair.iter().flatten().copied().reduce(f64::min);
        self.powers = self.powers.chunks(2).map(least).collect();
        self.thinning = self
            .thinning
            .saturating_mul(NonZeroU64::MIN.saturating_add(1));
    }
}

/// Level of an RMS power: `10 lg power`, no less than -200 dBFS.
fn rms_dbfs(power: f64) -> f64 {
    crate::decibel::power_db(power).max(FLOOR_DBFS)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dip_of_100_ms_is_still_there_after_24_h_and_the_points_stay_below_2_000() {
        let rate_hz = 100.0;
        let mut curve = LevelCurve::new(rate_hz);
        let second = [0.1f32; 100];
        for number in 0..86_400u64 {
            let mut heard = second;
            if number == 30_000 {
                heard[40..50].fill(0.001);
            }
            curve.hear(number * 100, &heard);
        }
        let [x, y] = curve.points();
        assert!(
            (1_000..=STRETCH_COUNT_MAX).contains(&x.len()),
            "{}",
            x.len()
        );
        let low: Vec<usize> = (0..y.len()).filter(|&n| y[n] < -21.0).collect();
        assert_eq!(low.len(), 1);
        assert!((y[low[0]] + 60.0).abs() < 1e-5);
        assert!((x[low[0]] - 30_000.0).abs() < curve.stretch_s());
        assert!(
            curve
                .last_dbfs()
                .is_some_and(|dbfs| (dbfs + 20.0).abs() < 1e-5)
        );
    }

    #[test]
    fn blocks_of_any_length_give_the_same_and_missing_frames_leave_a_hole() {
        let samples: Vec<f32> = (0..50_000u16).map(|n| f32::from(n % 97) / 200.0).collect();
        let mut whole = LevelCurve::new(48_000.0);
        whole.hear(0, &samples);
        let mut pieces = LevelCurve::new(48_000.0);
        for (number, piece) in samples.chunks(777).enumerate() {
            pieces.hear(777 * number as u64, piece);
        }
        let [x, y] = whole.points();
        assert_eq!((x.len(), y.len()), (10, 10));
        for (one, other) in y.iter().zip(&pieces.points()[1]) {
            assert!((one - other).abs() < 1e-9);
        }
        let mut holed = LevelCurve::new(48_000.0);
        holed.hear(0, &samples[..10_000]);
        holed.hear(15_000, &samples[15_000..]);
        assert_eq!(holed.points()[0].len(), 8);
    }

    #[test]
    fn silence_has_a_floor() {
        let mut curve = LevelCurve::new(1_000.0);
        for number in 0..2_500u64 {
            curve.hear(number * 100, &[0.0; 100]);
        }
        assert!(
            curve.points()[1]
                .iter()
                .all(|&dbfs| (dbfs + 200.0).abs() < 1e-9)
        );
    }
}
