//! Pairs to choose from: the link's upper corner is known only once it was heard.

use goodwire_plugin_sdk::parameters::violation;
use goodwire_plugin_sdk::payload::FieldViolation;

use super::pair::{Kind, TonePair};
use crate::settings::Settings;

/// Tones keep below this share of the link's upper corner.
pub const CORNER_SHARE: f64 = 0.9;

/// What passes here passes at all: gains are compared with that at this frequency, in Hz.
pub const PROBE_FROM_HZ: f64 = 997.0;

/// Share of the rate up to which a corner is looked for.
const PROBE_RATE_SHARE: f64 = 0.47;

/// From one rung to the next, as a ratio: half an octave.
const RUNG: f64 = std::f64::consts::FRAC_1_SQRT_2;

/// The high tone of the lowest rung is no lower, in Hz.
const LOWEST_HZ: f64 = 1_700.0;

/// By modulation the high tone is at least so many times the low one: octaves between them.
const MODULATION_RATIO: f64 = 8.0;

/// By difference frequency the low tone is at least this share of the high one, so that
/// `2 f1 - f2` is well above `f2 - f1`.
const DIFFERENCE_RATIO: f64 = 0.75;

/// Least difference of two tones, as a share of the high one and in Hz: products keep apart.
const DIFFERENCE_LEAST: (f64, f64) = (0.02, 100.0);

/// One pair and what tells whether it may be used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rung {
    /// The pair as it is played.
    pub pair: TonePair,
    /// Where the link has to pass for that, in Hz.
    pub probe_hz: f64,
}

/// All pairs of one kind, the highest first.
#[derive(Debug, Clone, PartialEq)]
pub struct Ladder {
    /// Their kind.
    pub kind: Kind,
    /// The frequencies that were asked for, in Hz.
    pub asked_hz: [f64; 2],
    /// The pairs, at least one.
    pub rungs: Vec<Rung>,
}

impl Ladder {
    /// Lowers the frequencies of parameter `id` rung by rung, from where the rate carries them.
    ///
    /// # Errors
    /// What is wrong with the frequencies.
    pub fn new(
        kind: Kind,
        id: &str,
        asked_hz: &[f64],
        settings: &Settings,
    ) -> Result<Self, FieldViolation> {
        let &[low_hz, high_hz] = asked_hz else {
            return Err(violation(id, "give two frequencies in Hz, the lower first"));
        };
        if kind == Kind::Modulation && high_hz < MODULATION_RATIO * low_hz {
            return Err(violation(
                id,
                format!(
                    "{low_hz} Hz and {high_hz} Hz are too near: the high tone must be at least \
                     {MODULATION_RATIO} times the low one"
                ),
            ));
        }
        let apart_hz = DIFFERENCE_LEAST.1.max(DIFFERENCE_LEAST.0 * high_hz);
        let near_enough = DIFFERENCE_RATIO * high_hz <= low_hz && low_hz + apart_hz <= high_hz;
        if kind == Kind::Difference && !near_enough {
            return Err(violation(
                id,
                format!(
                    "{low_hz} Hz and {high_hz} Hz do not go together: the low tone must be at \
                     least {DIFFERENCE_RATIO} of the high one, and {apart_hz} Hz below it"
                ),
            ));
        }
        let top_hz = high_hz.min(CORNER_SHARE * PROBE_RATE_SHARE * settings.least_rate_hz);
        let lowest_hz = match kind {
            Kind::Modulation => LOWEST_HZ.max(MODULATION_RATIO * low_hz),
            // The difference scales with the pair.
            Kind::Difference => LOWEST_HZ.max(DIFFERENCE_LEAST.1 * high_hz / (high_hz - low_hz)),
        };
        let rungs = std::iter::successors(Some(top_hz), |hz| Some(hz * RUNG))
            .enumerate()
            .take_while(|&(index, hz)| index == 0 || hz >= lowest_hz)
            .map(|(_, hz)| {
                let pair = TonePair {
                    kind,
                    low_hz: match kind {
                        Kind::Modulation => low_hz,
                        Kind::Difference => low_hz * hz / high_hz,
                    },
                    high_hz: hz,
                };
                Rung {
                    pair: pair.clear_of_folding(settings.rate_hz),
                    probe_hz: hz / CORNER_SHARE,
                }
            });
        Ok(Self {
            kind,
            asked_hz: [low_hz, high_hz],
            rungs: rungs.collect(),
        })
    }
}
