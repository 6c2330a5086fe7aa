//! What one return held of tone and silence, before any level is told.

use std::f64::consts::TAU;

use goodwire_dsp::align::AlignError;
use goodwire_dsp::check;
use goodwire_dsp::tone::{Estimate, ToneFitter};
use goodwire_plugin_sdk::Failure;

use crate::settings::TONE_HZ;

/// Flat tops from which on a piece counts as clipped.
const FLAT_TOPS_MIN: usize = 4;

/// A piece without as many samples tells nothing.
const SAMPLE_COUNT_MIN: usize = 4_096;

/// Why a return tells nothing.
pub struct Refused(AlignError);

impl Refused {
    /// The reason as the daemon takes it.
    pub fn into_failure(self) -> Failure {
        Failure::new(self.0.id(), self.0.to_string())
    }
}

/// The faint tone as it returned, and what there was beside it.
pub struct Tone {
    /// Peak amplitude, full scale = 1.
    pub amplitude: Estimate,
    /// The piece without the tone: noise, distortion, hum.
    pub rest: Vec<f64>,
}

/// Tone and silence of one return.
pub struct Pieces<'a> {
    /// What was heard while nothing was sent.
    pub silence: &'a [f32],
    /// The tone; absent where none stands clear of the noise.
    pub tone: Option<Tone>,
    /// Rate in Hz of both, as the player's clock counts it.
    pub rate_hz: f64,
}

impl<'a> Pieces<'a> {
    /// Fits the tone in the piece in which it was sent.
    ///
    /// # Errors
    /// Pieces that are cut off, clipped, or in the wrong order: a recording that was turned round.
    pub fn new(
        tone: &[f32],
        silence: &'a [f32],
        rate_hz: f64,
        which: &'static str,
    ) -> Result<Self, Refused> {
        if tone.len().min(silence.len()) < SAMPLE_COUNT_MIN {
            return Err(Refused(AlignError::CutOff { which, end: "end" }));
        }
        for piece in [tone, silence] {
            let count = check::flat_top_count(piece);
            if count >= FLAT_TOPS_MIN {
                return Err(Refused(AlignError::Clipped { which, count }));
            }
        }
        let found = fit(tone, rate_hz);
        // Turned round, the silence ends with the tone: its closing burst is the opening one.
        let last = &silence[silence.len().saturating_sub(tone.len() / 2)..];
        let level = |tone: &Option<Tone>| tone.as_ref().map_or(0.0, |tone| tone.amplitude.value);
        let at_end = fit(last, rate_hz);
        if at_end.is_some() && 2.0 * level(&at_end) > level(&found) {
            return Err(Refused(AlignError::Backwards { which }));
        }
        Ok(Self {
            silence,
            tone: found,
            rate_hz,
        })
    }
}

/// Fits the tone and takes it out, its harmonics apart: they count as AES17's notch leaves them.
fn fit(samples: &[f32], rate_hz: f64) -> Option<Tone> {
    let fit = ToneFitter::new().fit(samples, TONE_HZ / rate_hz)?;
    if !fit.stands() {
        return None;
    }
    let (first, turn) = (fit.harmonics[0], TAU * fit.cycles_per_sample);
    let middle = (samples.len() as f64 - 1.0) / 2.0;
    let model = |n: usize| {
        let (sine, cosine) = (turn * (n as f64 - middle)).sin_cos();
        fit.dc + first.re * cosine - first.im * sine
    };
    let rest = samples.iter().enumerate();
    Some(Tone {
        amplitude: Estimate {
            value: fit.amplitude(),
            uncertainty: fit.amplitude_uncertainty(),
        },
        rest: rest.map(|(n, &x)| f64::from(x) - model(n)).collect(),
    })
}
