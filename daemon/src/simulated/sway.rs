//! A level that sways: a sine in dB over the stream's time, as of a hand or a head that moves.

use std::f64::consts::TAU;

use super::{factor_of_db, settings::LinkSettings};

/// The sine is followed in straight lines between frames of this grid.
const GRID_FRAMES: u64 = 256;

/// A level that sways.
#[derive(Debug, Clone)]
pub struct Sway {
    depth_db: f64,
    period_frames: f64,
}

impl Sway {
    /// The sway of a link; `None` where its level is steady.
    pub fn new(settings: &LinkSettings, rate_hz: f64) -> Option<Self> {
        (settings.sway_db > 0.0).then_some(Self {
            depth_db: settings.sway_db,
            period_frames: settings.sway_s * rate_hz,
        })
    }

    fn factor_at(&self, frame: u64) -> f64 {
        let turns = frame as f64 / self.period_frames;
        factor_of_db(self.depth_db * (TAU * turns.fract()).sin())
    }

    /// What becomes of a block that crosses no border of the grid.
    pub fn apply(&self, first_frame: u64, block: &mut [f64]) {
        let border = first_frame / GRID_FRAMES * GRID_FRAMES;
        let begin = self.factor_at(border);
        let slope = (self.factor_at(border + GRID_FRAMES) - begin) / GRID_FRAMES as f64;
        for (sample, place) in block.iter_mut().zip(first_frame - border..) {
            *sample *= begin + slope * place as f64;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sway_of_3_db_in_4_s_is_3_db_up_after_1_s_and_3_db_down_after_3_s() {
        let settings = LinkSettings {
            sway_db: 3.0,
            sway_s: 4.0,
            ..LinkSettings::default()
        };
        let sway = Sway::new(&settings, 48_000.0).expect("it sways");
        // 10^(3/20) = 1.412538; a straight line over 256 frames is off by the square of an eighth
        // of its angle, 1e-5 dB.
        for (frame, want) in [
            (0, 1.0),
            (48_000, 1.412_538),
            (96_000, 1.0),
            (144_000, 0.707_946),
        ] {
            let mut sound = [1.0];
            sway.apply(frame, &mut sound);
            assert!((sound[0] - want).abs() < 1e-4, "{frame}: {}", sound[0]);
        }
        assert!(Sway::new(&LinkSettings::default(), 48_000.0).is_none());
    }
}
