//! One recording on the stimulus' frames.

use super::ends::Ends;
use super::read::ClockReader;
use crate::stimulus::Layout;

/// A clock against the stimulus'.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Skew {
    /// Parts per million; plus: more samples came back than were sent.
    pub ppm: f64,
    /// One standard deviation in ppm.
    pub uncertainty_ppm: f64,
}

/// One recording on the stimulus' frames.
#[derive(Debug, Clone)]
pub struct Track {
    /// Sample n is what returned of stimulus frame n, silence where the recording has ended;
    /// as long as the stimulus and its tail.
    pub samples: Vec<f64>,
    /// Where stimulus frame 0 lies in the recording, in its frames; below 0 where the recording
    /// started later. Frame n lies at `offset_frames + n * (1 + removed_skew)`.
    pub offset_frames: f64,
    /// The clock of the recording as measured.
    pub skew: Skew,
    /// Skew that `samples` were freed of, as a ratio; 0 where it did not matter.
    pub removed_skew: f64,
    /// Frames by which the delay had stepped between the opening and the closing burst; 0 where
    /// a steady clock explains both.
    pub step_frames: f64,
    /// -1 where the recording is inverted, else 1.
    pub polarity: f64,
}

impl Track {
    /// Where stimulus frame `frame` lies in the recording, in its frames.
    #[must_use]
    pub fn position(&self, frame: f64) -> f64 {
        self.offset_frames + frame * (1.0 + self.removed_skew)
    }

    /// Reads `samples` on the stimulus' clock where the skew adds up to more than
    /// `skew_frames_max` and stands out of its uncertainty, else merely shifts them.
    pub(super) fn build(
        ends: &Ends,
        samples: &[f32],
        reader: &ClockReader,
        layout: &Layout,
        skew_frames_max: f64,
    ) -> Self {
        let count = layout.frame_count() + layout.tail_frame_count();
        let matters = ends.skew.abs() * layout.frame_count() as f64 > skew_frames_max
            && ends.skew.abs() > 4.0 * ends.skew_uncertainty;
        let removed_skew = if matters { ends.skew } else { 0.0 };
        let step = 1.0 + removed_skew;
        let mut offset_frames = ends.opening_position - layout.opening.start as f64 * step;
        if !matters {
            offset_frames = offset_frames.round();
        }
        Self {
            samples: reader.read(samples, offset_frames, step, count),
            offset_frames,
            skew: Skew {
                ppm: ends.skew * 1e6,
                // Single-precision samples tell nothing finer.
                uncertainty_ppm: (ends.skew_uncertainty * 1e6).max(1e-6),
            },
            removed_skew,
            step_frames: ends.step_frames,
            polarity: ends.polarity,
        }
    }
}

/// Gives link and reference one clock where their difference does not stand out of the noise.
///
/// They were recorded together, so they share the recorder's clock; only a link that has a clock
/// of its own differs. A common value keeps the noise of the skew out of their difference.
pub(super) fn share_clock(link: &mut Ends, reference: &mut Ends) {
    let variances = [&*link, &*reference].map(|ends| ends.skew_uncertainty.powi(2).max(1e-26));
    let difference = link.skew - reference.skew;
    let allowed = 4.0 * (variances[0] + variances[1]).sqrt() + 1e-9;
    if difference.abs() > allowed || link.step_frames != 0.0 || reference.step_frames != 0.0 {
        return;
    }
    let weights = [1.0 / variances[0], 1.0 / variances[1]];
    let sum = weights[0] + weights[1];
    let skew = (link.skew * weights[0] + reference.skew * weights[1]) / sum;
    for ends in [link, reference] {
        ends.skew = skew;
        ends.skew_uncertainty = sum.recip().sqrt();
    }
}
