//! Listening: how loud a return is, whether a programme is on it, whether it answers too loudly.

use super::performance::QuietRule;

/// Length of the stretches whose RMS is judged, in seconds.
const STRETCH_S: f64 = 0.1;

/// Level of an amplitude in dBFS; silence is -200 dBFS, which is below what any converter gives.
#[must_use]
pub fn peak_dbfs(peak: f64) -> f64 {
    20.0 * peak.max(1e-10).log10()
}

/// Largest absolute sample of a block. NaN counts as full scale, so that it is never overheard.
#[must_use]
pub fn block_peak(block: &[f32]) -> f64 {
    let peak = block.iter().fold(
        0.0_f32,
        |peak, x| if x.is_nan() { 1.0 } else { peak.max(x.abs()) },
    );
    f64::from(peak)
}

/// Level over time of one return, in stretches of 100 ms.
#[derive(Debug, Clone)]
pub struct Loudness {
    stretch_frames: usize,
    power_sum: f64,
    frame_count: usize,
    /// RMS of each whole stretch as the level of a sine of that RMS, in dBFS.
    levels_dbfs: Vec<f64>,
    peak: f64,
}

impl Loudness {
    /// Starts to listen at a rate.
    #[must_use]
    pub fn new(rate_hz: u32) -> Self {
        let stretch_frames = (f64::from(rate_hz) * STRETCH_S) as usize;
        Self {
            stretch_frames,
            power_sum: 0.0,
            frame_count: 0,
            levels_dbfs: Vec::new(),
            peak: 0.0,
        }
    }

    /// Hears more.
    pub fn hear(&mut self, block: &[f32]) {
        self.peak = self.peak.max(block_peak(block));
        for &sample in block {
            self.power_sum += f64::from(sample).powi(2);
            self.frame_count += 1;
            if self.frame_count == self.stretch_frames {
                let power = self.power_sum / self.stretch_frames as f64;
                self.levels_dbfs.push(peak_dbfs((2.0 * power).sqrt()));
                self.power_sum = 0.0;
                self.frame_count = 0;
            }
        }
    }

    /// Highest peak so far, in dBFS.
    #[must_use]
    pub fn peak_dbfs(&self) -> f64 {
        peak_dbfs(self.peak)
    }

    /// Says what of a programme is heard: the loudest stretch in dBFS, where it breaks the rule.
    /// Hiss and hum above the limit are steady and therefore no programme.
    #[must_use]
    pub fn programme_dbfs(&self, rule: &QuietRule) -> Option<f64> {
        let loudest = self
            .levels_dbfs
            .iter()
            .copied()
            .fold(f64::NEG_INFINITY, f64::max);
        let softest = self
            .levels_dbfs
            .iter()
            .copied()
            .fold(f64::INFINITY, f64::min);
        (loudest > rule.limit_dbfs && loudest - softest > rule.steady_db).then_some(loudest)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RULE: QuietRule = QuietRule {
        duration_s: 2.0,
        limit_dbfs: -50.0,
        steady_db: 6.0,
    };

    fn tone(level_dbfs: f64, frame_count: usize) -> Vec<f32> {
        let peak = 10_f64.powf(level_dbfs / 20.0);
        let step = std::f64::consts::TAU * 997.0 / 48_000.0;
        (0..frame_count)
            .map(|n| (peak * (step * n as f64).sin()) as f32)
            .collect()
    }

    fn heard(parts: &[(f64, usize)]) -> Option<f64> {
        let mut loudness = Loudness::new(48_000);
        for &(level_dbfs, frame_count) in parts {
            loudness.hear(&tone(level_dbfs, frame_count));
        }
        loudness.programme_dbfs(&RULE)
    }

    #[test]
    fn hum_of_minus_30_dbfs_is_steady_and_no_programme() {
        assert_eq!(heard(&[(-30.0, 96_000)]), None);
    }

    #[test]
    fn a_burst_of_minus_30_dbfs_in_a_quiet_room_is_programme() {
        let loudest = heard(&[(-90.0, 48_000), (-30.0, 9_600), (-90.0, 38_400)]);
        assert!((loudest.expect("heard") + 30.0).abs() < 0.1, "{loudest:?}");
    }

    #[test]
    fn speech_below_minus_50_dbfs_is_quiet() {
        assert_eq!(heard(&[(-90.0, 48_000), (-55.0, 48_000)]), None);
    }

    #[test]
    fn nan_counts_as_full_scale() {
        assert_eq!(block_peak(&[0.0, f32::NAN]), 1.0);
    }
}
