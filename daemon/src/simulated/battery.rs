//! The charge of a transmitter: it lasts for so many seconds of the stream, sags towards its end,
//! and is empty then for good.

use super::{factor_of_db, frames_of_s, settings::LinkSettings};

/// Share of the run time, at its end, in which the level sags.
const SAG_SHARE: f64 = 0.05;
/// How far the level has fallen when the charge ends.
const SAG_DB: f64 = -6.0;

/// A charge that ends.
#[derive(Debug, Clone)]
pub struct Battery {
    /// First frame of the sag.
    sag_frame: u64,
    /// First frame without sound.
    end_frame: u64,
}

impl Battery {
    /// The charge of a link's transmitter; `None` where it lasts for ever.
    pub fn new(settings: &LinkSettings, rate_hz: f64) -> Option<Self> {
        (settings.runs_for_s > 0.0).then(|| Self {
            sag_frame: frames_of_s(settings.runs_for_s * (1.0 - SAG_SHARE), rate_hz),
            end_frame: frames_of_s(settings.runs_for_s, rate_hz),
        })
    }

    /// What becomes of a block: nothing, a sag, evenly in dB over time, or silence.
    pub fn apply(&self, first_frame: u64, block: &mut [f64]) {
        if first_frame + (block.len() as u64) <= self.sag_frame {
            return;
        }
        for (sample, frame) in block.iter_mut().zip(first_frame..) {
            if frame >= self.end_frame {
                *sample = 0.0;
            } else if frame > self.sag_frame {
                let passed = (frame - self.sag_frame) as f64;
                let whole = (self.end_frame - self.sag_frame) as f64;
                *sample *= factor_of_db(SAG_DB * passed / whole);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_charge_of_1_s_is_whole_at_950_ms_3_db_down_at_975_ms_and_empty_at_1_s_for_good() {
        let settings = LinkSettings {
            runs_for_s: 1.0,
            ..LinkSettings::default()
        };
        let battery = Battery::new(&settings, 48_000.0).expect("it ends");
        for block_frames in [1, 256, 96_000] {
            let mut sound = vec![1.0; 96_000];
            for (k, block) in sound.chunks_mut(block_frames).enumerate() {
                battery.apply((k * block_frames) as u64, block);
            }
            assert!(sound[..=45_600].iter().all(|x| *x == 1.0));
            // -3 dB half way through the sag of 6 dB: 10^(-3/20).
            assert!((sound[46_800] - 0.707_945_784).abs() < 1e-9);
            assert!(sound[47_999] > 0.5 && sound[48_000..].iter().all(|x| *x == 0.0));
        }
        assert!(Battery::new(&LinkSettings::default(), 48_000.0).is_none());
    }
}
