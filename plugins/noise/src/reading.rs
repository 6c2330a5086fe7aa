//! What one return held of tone and silence, before any level is told.

use std::f64::consts::TAU;

use goodwire_dsp::align::AlignError;
use goodwire_dsp::check;
use goodwire_dsp::spectrum::Spectrum;
use goodwire_dsp::tone::{Estimate, ToneFitter};
use goodwire_dsp::turn::turns;
use goodwire_plugin_sdk::Failure;

use crate::settings::TONE_HZ;

/// Flat tops from which on a piece counts as clipped.
const FLAT_TOPS_MIN: usize = 4;

/// A piece without as many samples tells nothing.
const SAMPLE_COUNT_MIN: usize = 4_096;

/// A line so near to the tone, in Hz, is the tone.
const NEAR_HZ: f64 = 0.5;

/// Share of pieces of noise that may be taken for the tone.
const CHANCE: f64 = 1e-6;

/// Why a return tells nothing.
pub struct Refused(AlignError);

impl Refused {
    /// The reason as the daemon takes it.
    pub fn into_failure(self) -> Failure {
        Failure::new(self.0.id(), self.0.to_string()).about(self.0.channel())
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
        let heard = found.as_ref().map_or(0.0, |tone| tone.amplitude.value);
        if ends_with_tone(last, rate_hz, heard) {
            return Err(Refused(AlignError::Backwards { which }));
        }
        Ok(Self {
            silence,
            tone: found,
            rate_hz,
        })
    }
}

/// Whether a piece holds a line at the very frequency of the tone, of more than half its amplitude: a
/// whistle beside it is no tone of ours.
fn ends_with_tone(samples: &[f32], rate_hz: f64, amplitude: f64) -> bool {
    let samples: Vec<f64> = samples.iter().map(|&x| f64::from(x)).collect();
    let about = [0.9 * TONE_HZ, 1.1 * TONE_HZ];
    let lines = Spectrum::new(&samples, rate_hz).lines(about, CHANCE);
    lines.iter().any(|line| {
        let is_near = (line.frequency_hz - TONE_HZ).abs() < NEAR_HZ;
        is_near && (2.0 * line.power.value).sqrt() > amplitude / 2.0
    })
}

/// Fits the tone and takes it out, its harmonics apart: they count as AES17's notch leaves them.
fn fit(samples: &[f32], rate_hz: f64) -> Option<Tone> {
    let fit = ToneFitter::new().fit(samples, TONE_HZ / rate_hz)?;
    if !fit.stands() {
        return None;
    }
    let (first, turn) = (fit.harmonics[0], TAU * fit.cycles_per_sample);
    let middle = (samples.len() as f64 - 1.0) / 2.0;
    let model = turns(-turn * middle, turn).map(|angle| fit.dc + (first * angle).re);
    let rest = samples.iter().zip(model);
    Some(Tone {
        amplitude: Estimate {
            value: fit.amplitude(),
            uncertainty: fit.amplitude_uncertainty(),
        },
        rest: rest.map(|(&x, tone)| f64::from(x) - tone).collect(),
    })
}
