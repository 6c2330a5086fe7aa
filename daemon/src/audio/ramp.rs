//! The ramp that every start and every end of sound goes through.

/// How long a ramp lasts, in seconds.
const RAMP_S: f64 = 0.010;

/// A gain that walks between silence and full sound along a raised cosine, one step a frame.
///
/// Made before the callback runs; walking is wait-free.
#[derive(Debug)]
pub struct Ramp {
    /// Gain after so many steps up: entry 0 is silence, the last is 1.
    gains: Box<[f32]>,
    step: usize,
}

impl Ramp {
    /// A ramp of 10 ms at `rate_hz` that stands at silence.
    #[must_use]
    pub fn new(rate_hz: u32) -> Self {
        let step_count = ((f64::from(rate_hz) * RAMP_S).round() as usize).max(1);
        let gains = (0..=step_count)
            .map(|step| {
                let phase = std::f64::consts::PI * step as f64 / step_count as f64;
                (0.5 - 0.5 * phase.cos()) as f32
            })
            .collect();
        Self { gains, step: 0 }
    }

    /// True while nothing passes.
    #[must_use]
    pub fn is_silent(&self) -> bool {
        self.step == 0
    }

    /// Goes to silence at once.
    pub fn cut(&mut self) {
        self.step = 0;
    }

    /// Takes one step towards sound or silence and gives the gain there, from 0 to 1.
    pub fn walk(&mut self, to_sound: bool) -> f32 {
        self.step = if to_sound {
            (self.step + 1).min(self.gains.len() - 1)
        } else {
            self.step.saturating_sub(1)
        };
        self.gains[self.step]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ramp_at_48_khz_takes_480_frames_each_way_and_never_jumps_by_more_than_0_4_percent() {
        let mut ramp = Ramp::new(48_000);
        let mut before = 0.0;
        for frame in 1..=480 {
            let gain = ramp.walk(true);
            // The steepest step of a raised cosine over n frames is pi / (2 n) = 0.0033.
            assert!(
                gain > before && gain - before < 0.004,
                "frame {frame}: {before} to {gain}"
            );
            before = gain;
        }
        assert_eq!(before, 1.0);
        assert_eq!(ramp.walk(true), 1.0);
        let down: Vec<f32> = (0..480).map(|_| ramp.walk(false)).collect();
        assert!(down.windows(2).all(|pair| pair[1] < pair[0]));
        assert_eq!(down[479], 0.0);
        assert!(ramp.is_silent());
        assert_eq!(ramp.walk(false), 0.0);
    }
}
