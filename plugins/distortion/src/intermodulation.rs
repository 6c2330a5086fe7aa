//! Two tones at once: what they make of each other.
//!
//! Definitions of IEC 60268-3 (from memory): by modulation a low tone and a high one of a quarter of
//! its amplitude, `d2 = (U(f2+f1) + U(f2-f1)) / U(f2)`, `d3 = (U(f2+2f1) + U(f2-2f1)) / U(f2)`; by
//! difference frequency two equal tones, `d2 = U(f2-f1) / (U(f1) + U(f2))`,
//! `d3 = (U(2f2-f1) + U(2f1-f2)) / (U(f1) + U(f2))`. Told is `sqrt(d2² + d3²)`.

mod figures;
mod ladder;
mod pair;
mod reading;

use goodwire_dsp::decibel::amplitude;
use goodwire_dsp::stimulus::Stimulus;
use goodwire_dsp::tone::{Sequence, Sine, Tone, refuse_backwards};
use goodwire_plugin_sdk::Failure;
use goodwire_plugin_sdk::parameters::Parameters;
use goodwire_plugin_sdk::payload::{FieldViolation, OpenRequest, SessionResult};

use crate::playing::{Method, Returns, refused};
use crate::settings::Settings;
use figures::result;
use ladder::{Ladder, PROBE_FROM_HZ};
use pair::Kind;
use reading::Reader;

/// The tones of `imd_modulation` where none are given, in Hz.
pub const MODULATION_HZ: [f64; 2] = [60.0, 7_000.0];

/// The tones of `imd_difference` where none are given, in Hz.
pub const DIFFERENCE_HZ: [f64; 2] = [19_000.0, 20_000.0];

/// Tones that only find the upper corner are so much softer than the pairs, in dB.
const PROBE_DB: f64 = -12.0;

/// Length in seconds of such a tone.
const PROBE_S: f64 = 0.15;

/// Length in seconds of the first of them, with which the others are compared.
const FIRST_PROBE_S: f64 = 0.3;

/// The method `intermodulation`.
pub struct Intermodulation {
    settings: Settings,
    ladders: [Ladder; 2],
}

impl Intermodulation {
    /// Reads the tones from a request whose parameters are within their bounds.
    ///
    /// # Errors
    /// Every parameter that does not go with another.
    pub fn open(request: &OpenRequest) -> Result<Self, Vec<FieldViolation>> {
        let settings = Settings::read(request);
        let read = Parameters::of(request);
        let ladder = |kind: Kind, id: &str| Ladder::new(kind, id, &read.numbers(id), &settings);
        match (
            ladder(Kind::Modulation, "modulation_hz"),
            ladder(Kind::Difference, "difference_hz"),
        ) {
            (Ok(modulation), Ok(difference)) => Ok(Self {
                settings,
                ladders: [modulation, difference],
            }),
            (modulation, difference) => Err([modulation.err(), difference.err()]
                .into_iter()
                .flatten()
                .collect()),
        }
    }

    /// First what finds the corner, then the pairs of one ladder, then those of the other.
    fn tones(&self) -> Vec<Tone> {
        let settings = &self.settings;
        let frames = |seconds: f64| (seconds * settings.rate_hz).round() as usize;
        let peak = amplitude(settings.level_dbfs);
        let probe = |freq_hz: f64, seconds: f64| {
            Tone::single(freq_hz, peak * amplitude(PROBE_DB), frames(seconds))
        };
        let mut tones = vec![probe(PROBE_FROM_HZ, FIRST_PROBE_S)];
        let rungs = || self.ladders.iter().flat_map(|ladder| &ladder.rungs);
        tones.extend(rungs().map(|rung| probe(rung.probe_hz, PROBE_S)));
        tones.extend(rungs().map(|rung| {
            let [low, high] = rung.pair.shares();
            Tone {
                sine: Sine {
                    freq_hz: rung.pair.low_hz,
                    peak: peak * low,
                },
                second: Some(Sine {
                    freq_hz: rung.pair.high_hz,
                    peak: peak * high,
                }),
                frame_count: frames(settings.duration_s),
            }
        }));
        tones
    }
}

impl Method for Intermodulation {
    type Body = Sequence;

    fn stimulus(&self) -> Stimulus<Sequence> {
        let settings = &self.settings;
        Stimulus::new(
            settings.rate_hz,
            settings.wake_s,
            settings.seed,
            settings.level_dbfs,
            settings.level_dbfs,
            Sequence::new(settings.rate_hz, self.tones()),
        )
    }

    fn result(&self, returns: &Returns<'_, Sequence>) -> Result<SessionResult, Failure> {
        refuse_backwards(returns.alignment).map_err(|error| refused(&error))?;
        let (link, reference) = returns.heard();
        let mut reader = Reader::new(returns.stimulus.body(), link, reference);
        let found = self.ladders.each_ref().map(|ladder| {
            let before: usize = (self.ladders.iter())
                .take_while(|other| other.kind != ladder.kind)
                .map(|other| other.rungs.len())
                .sum();
            let count: usize = self.ladders.iter().map(|ladder| ladder.rungs.len()).sum();
            reader.find(ladder, 1 + before, 1 + count + before)
        });
        result(
            self.ladders.each_ref().into_iter().zip(found),
            &self.settings,
            returns,
        )
    }
}
