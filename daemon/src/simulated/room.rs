//! Somebody plays a programme in the room, and all returns hear it alike.
//!
//! It is noise from 100 Hz to 2 kHz in beats, two a second, each fading by 26 dB until the next: as
//! unsteady as music is, so that nobody takes it for hiss or hum.

use super::{filters::Filters, frames_of_s, noise::WhiteNoise, random::Chance, rms_of_dbfs};

/// Beats in a second.
const BEATS_PER_S: f64 = 2.0;
/// Fall of the level within a beat, in nepers: 26 dB.
const FALL: f64 = 3.0;

/// The programme.
#[derive(Debug, Clone)]
pub struct Programme {
    noise: WhiteNoise,
    filters: Filters,
    beat_frames: u64,
    /// Factor from one frame of a beat to the next.
    fade: f64,
}

impl Programme {
    /// A programme whose RMS over whole beats is that of a sine at `level_dbfs`.
    pub fn new(level_dbfs: f64, rate_hz: f64, chance: Chance) -> Self {
        let filters = Filters::new(100.0, 2000.0, 1, rate_hz);
        // Powers multiply: the noise's own, the filter's (energy of its impulse response), and the
        // beat's (mean of exp(-2 FALL t) from 0 to 1).
        let mut impulse = vec![0.0; frames_of_s(0.1, rate_hz) as usize];
        impulse[0] = 1.0;
        filters.clone().process(&mut impulse);
        let filter_power: f64 = impulse.iter().map(|x| x * x).sum();
        let beat_power = (1.0 - (-2.0 * FALL).exp()) / (2.0 * FALL);
        let rms = rms_of_dbfs(level_dbfs) / (filter_power * beat_power).sqrt();
        let beat_frames = frames_of_s(1.0 / BEATS_PER_S, rate_hz);
        Self {
            noise: WhiteNoise::new(chance, rms),
            filters,
            beat_frames,
            fade: (-FALL / beat_frames as f64).exp(),
        }
    }

    /// Writes the programme of the frames from `first_frame` on; frames follow one another.
    pub fn render(&mut self, first_frame: u64, block: &mut [f64]) {
        block.fill(0.0);
        self.noise.add(first_frame, block);
        self.filters.process(block);
        for (sample, frame) in block.iter_mut().zip(first_frame..) {
            // Out of the frame's number alone, so that it is the same in blocks of any size.
            *sample *= self.fade.powf((frame % self.beat_frames) as f64);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_programme_of_minus_30_dbfs_has_that_rms_and_is_no_steady_hiss() {
        let mut programme = Programme::new(-30.0, 48_000.0, Chance::new(1, "programme", ""));
        let mut block = vec![0.0; 48_000 * 60];
        programme.render(0, &mut block);
        let level_dbfs = |part: &[f64]| {
            10.0 * (2.0 * part.iter().map(|x| x * x).sum::<f64>() / part.len() as f64).log10()
        };
        let whole = level_dbfs(&block);
        assert!((whole + 30.0).abs() < 0.1, "got {whole} dBFS");
        let (low, high) = block
            .chunks(4800)
            .map(level_dbfs)
            .fold((f64::MAX, f64::MIN), |(low, high), level| {
                (low.min(level), high.max(level))
            });
        assert!(high - low > 15.0, "100 ms levels from {low} to {high} dBFS");
    }
}
