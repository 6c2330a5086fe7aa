//! One steady tone after the other: harmonics and noise of each.

mod figures;
mod reading;
mod remarks;

use goodwire_dsp::decibel::amplitude;
use goodwire_dsp::stimulus::Stimulus;
use goodwire_dsp::tone::{Heard, Sequence, Tone, ToneFitter, clear_frequency_hz, refuse_backwards};
use goodwire_plugin_sdk::Failure;
use goodwire_plugin_sdk::parameters::{Parameters, violation};
use goodwire_plugin_sdk::payload::{FieldViolation, OpenRequest, SessionResult};

use crate::playing::{Method, Returns, refused};
use crate::settings::Settings;
use figures::{Pair, result};
use reading::reading;

/// The test frequencies where none are given, in Hz.
pub const FREQS_HZ: [f64; 8] = [63.0, 125.0, 250.0, 500.0, 997.0, 2000.0, 4000.0, 6300.0];

/// What is left out of every tone after its fade, in seconds: links settle.
const SETTLE_S: f64 = 0.06;

/// One test tone.
#[derive(Debug, Clone, Copy, PartialEq)]
struct TestTone {
    /// The frequency that was asked for, in Hz.
    freq_hz: f64,
    /// The frequency that is played, in Hz.
    played_hz: f64,
}

/// The method `stepped`.
pub struct Stepped {
    settings: Settings,
    /// The tones, by rising frequency.
    tones: Vec<TestTone>,
}

impl Stepped {
    /// Reads the tones from a request whose parameters are within their bounds.
    ///
    /// # Errors
    /// Every parameter that does not go with another or with the rates.
    pub fn open(request: &OpenRequest) -> Result<Self, Vec<FieldViolation>> {
        let settings = Settings::read(request);
        let mut freqs_hz = Parameters::of(request).numbers("freqs_hz");
        freqs_hz.sort_by(f64::total_cmp);
        freqs_hz.dedup();
        let violations = violations(&freqs_hz, &settings);
        if !violations.is_empty() {
            return Err(violations);
        }
        let tone = |&freq_hz: &f64| TestTone {
            freq_hz,
            played_hz: clear_frequency_hz(freq_hz, settings.rate_hz),
        };
        Ok(Self {
            tones: freqs_hz.iter().map(tone).collect(),
            settings,
        })
    }

    /// Frames of one tone: at least ten periods stand after link and fade have settled.
    fn frame_count(&self, freq_hz: f64) -> usize {
        let length_s = (self.settings.duration_s).max(SETTLE_S + 0.02 + 10.0 / freq_hz);
        (length_s * self.settings.rate_hz).round() as usize
    }

    /// Refuses a recording in which a tone is missing from its place and stands in that of another
    /// one that is missing too. Hum at a test frequency is heard at its own place as well.
    fn refuse_wrong_order(
        pairs: &[Pair],
        sequence: &Sequence,
        heard: &Heard<'_>,
        fitter: &mut ToneFitter,
    ) -> Result<(), Failure> {
        let missing = || (0..pairs.len()).filter(|&index| pairs[index].link.is_none());
        for place in missing() {
            let samples = heard.tone(sequence, place, SETTLE_S);
            for other in missing().filter(|&other| other != place) {
                let tone = pairs[other].tone;
                let fit = fitter.fit(samples, tone.played_hz / heard.rate_hz());
                if fit.is_some_and(|fit| fit.stands()) {
                    return Err(Failure::new(
                        "unrelated",
                        format!(
                            "in the link's return {} Hz is heard in the place of {} Hz: it is a \
                             recording of something else",
                            tone.freq_hz, pairs[place].tone.freq_hz
                        ),
                    ));
                }
            }
        }
        Ok(())
    }
}

impl Method for Stepped {
    type Body = Sequence;

    fn stimulus(&self) -> Stimulus<Sequence> {
        let settings = &self.settings;
        let tones = self.tones.iter().map(|tone| {
            let peak = amplitude(settings.level_dbfs);
            Tone::single(tone.played_hz, peak, self.frame_count(tone.played_hz))
        });
        Stimulus::new(
            settings.rate_hz,
            settings.wake_s,
            settings.seed,
            settings.level_dbfs,
            settings.level_dbfs,
            Sequence::new(settings.rate_hz, tones.collect()),
        )
    }

    fn result(&self, returns: &Returns<'_, Sequence>) -> Result<SessionResult, Failure> {
        refuse_backwards(returns.alignment).map_err(|error| refused(&error))?;
        let (link, reference) = returns.heard();
        let sequence = returns.stimulus.body();
        let mut fitter = ToneFitter::new();
        let mut read = |heard: &Heard<'_>, index: usize| {
            reading(
                &mut fitter,
                heard,
                heard.tone(sequence, index, SETTLE_S),
                &self.tones[index],
                self.settings.bandwidth_hz,
            )
        };
        let pairs: Vec<Pair> = (0..self.tones.len())
            .map(|index| Pair {
                tone: self.tones[index],
                link: read(&link, index),
                reference: reference.and_then(|reference| read(&reference, index)),
            })
            .collect();
        Self::refuse_wrong_order(&pairs, sequence, &link, &mut fitter)?;
        result(
            &pairs,
            &self.settings,
            returns.request,
            returns.has_reference(),
        )
    }
}

/// What does not go with the least rate at which the tones are made or heard.
fn violations(freqs_hz: &[f64], settings: &Settings) -> Vec<FieldViolation> {
    let mut violations = Vec::new();
    if freqs_hz.is_empty() {
        violations.push(violation("freqs_hz", "give at least one frequency in Hz"));
    }
    let rate_hz = settings.least_rate_hz;
    let highest_hz = settings.bandwidth_hz.min(0.47 * rate_hz);
    if let Some(freq_hz) = freqs_hz.iter().find(|&&freq_hz| freq_hz >= highest_hz) {
        violations.push(violation(
            "freqs_hz",
            format!(
                "{freq_hz} Hz is too high: frequencies must be below {highest_hz} Hz, the bandwidth \
                 or what the sample rate of {rate_hz} Hz carries"
            ),
        ));
    }
    violations.extend(settings.bandwidth_violation_of_tones());
    violations
}
