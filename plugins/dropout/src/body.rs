//! What the send plays.

use goodwire_dsp::stimulus::Body;
use goodwire_dsp::watch::{PilotBody, TonePilot};

/// The pilot of a watch.
pub enum Played {
    /// Noise that never repeats.
    Noise(Box<PilotBody>),
    /// A steady tone.
    Tone(TonePilot),
}

impl Body for Played {
    fn frame_count(&self) -> usize {
        match self {
            Self::Noise(body) => body.frame_count(),
            Self::Tone(body) => body.frame_count(),
        }
    }

    fn sample(&self, frame: usize) -> f64 {
        match self {
            Self::Noise(body) => body.sample(frame),
            Self::Tone(body) => body.sample(frame),
        }
    }
}
