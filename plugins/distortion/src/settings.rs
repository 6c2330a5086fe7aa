//! What can be set, and the tones that follow from it.

use goodwire_dsp::decibel::amplitude;
use goodwire_dsp::stimulus::Stimulus;
use goodwire_dsp::tone::{Sequence, Tone, clear_frequency_hz};
use goodwire_plugin_sdk::api::Parameter;
use goodwire_plugin_sdk::parameters::{
    self, Narrow, Parameters, choice, number, numbers, violation,
};
use goodwire_plugin_sdk::payload::{FieldViolation, OpenRequest};

/// What is left out of every tone after its fade, in seconds: links settle.
pub const SETTLE_S: f64 = 0.06;

/// The test frequencies where none are given, in Hz.
const FREQS_HZ: [f64; 8] = [63.0, 125.0, 250.0, 500.0, 997.0, 2000.0, 4000.0, 6300.0];

/// Lower end of the band of noise and distortion, in Hz.
pub const BAND_FROM_HZ: f64 = 20.0;

/// One test tone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TestTone {
    /// The frequency that was asked for, in Hz.
    pub freq_hz: f64,
    /// The frequency that is played, in Hz.
    pub played_hz: f64,
}

/// Settings of one measurement.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// The tones, by rising frequency.
    pub tones: Vec<TestTone>,
    /// Level of every tone in dBFS.
    pub level_dbfs: f64,
    /// Upper end of the band of harmonics and noise, in Hz.
    pub bandwidth_hz: f64,
    /// Rate in Hz of the stimulus.
    pub rate_hz: f64,
    duration_s: f64,
    wake_s: f64,
    seed: u64,
}

/// The parameters of the analysis.
pub fn parameters() -> Vec<Parameter> {
    vec![
        choice(
            "method",
            &["stepped"],
            "How the link is tried: stepped plays one steady tone after the other.",
        ),
        numbers("freqs_hz", "Hz", &FREQS_HZ, "Frequencies of the tones.").within(20.0, 20_000.0),
        parameters::level_dbfs(-20.0),
        number(
            "bandwidth_hz",
            "Hz",
            20_000.0,
            "Harmonics and noise count below this frequency.",
        )
        .within(1_000.0, 90_000.0),
        number("duration_s", "s", 1.0, "Length of each tone.").within(0.3, 60.0),
        parameters::wake_s(),
    ]
}

impl Settings {
    /// Reads them from a request whose parameters are within their bounds.
    ///
    /// # Errors
    /// Every parameter that does not go with another or with the rates.
    pub fn read(request: &OpenRequest) -> Result<Self, Vec<FieldViolation>> {
        let read = Parameters::of(request);
        let rate_hz = f64::from(request.rate_hz);
        let bandwidth_hz = read.number("bandwidth_hz");
        let mut freqs_hz = read.numbers("freqs_hz");
        freqs_hz.sort_by(f64::total_cmp);
        freqs_hz.dedup();
        let returned_rate_hz = match f64::from(request.returned_rate_hz) {
            0.0 => rate_hz,
            returned_rate_hz => returned_rate_hz,
        };
        let violations = violations(&freqs_hz, bandwidth_hz, rate_hz.min(returned_rate_hz));
        if !violations.is_empty() {
            return Err(violations);
        }
        let tone = |&freq_hz: &f64| TestTone {
            freq_hz,
            played_hz: clear_frequency_hz(freq_hz, rate_hz),
        };
        Ok(Self {
            tones: freqs_hz.iter().map(tone).collect(),
            level_dbfs: read.number("level_dbfs"),
            bandwidth_hz,
            rate_hz,
            duration_s: read.number("duration_s"),
            wake_s: read.number("wake_s"),
            seed: u64::try_from(request.seed).unwrap_or(0),
        })
    }

    /// The stimulus.
    pub fn stimulus(&self) -> Stimulus<Sequence> {
        let tones = self.tones.iter().map(|tone| Tone {
            freq_hz: tone.played_hz,
            peak: amplitude(self.level_dbfs),
            frame_count: self.frame_count(tone.played_hz),
        });
        Stimulus::new(
            self.rate_hz,
            self.wake_s,
            self.seed,
            self.level_dbfs,
            self.level_dbfs,
            Sequence::new(self.rate_hz, tones.collect()),
        )
    }

    /// Frames of one tone: at least ten periods stand after link and fade have settled.
    fn frame_count(&self, freq_hz: f64) -> usize {
        let length_s = self.duration_s.max(SETTLE_S + 0.02 + 10.0 / freq_hz);
        (length_s * self.rate_hz).round() as usize
    }
}

/// What does not go with the least rate at which the tones are made or heard.
fn violations(freqs_hz: &[f64], bandwidth_hz: f64, rate_hz: f64) -> Vec<FieldViolation> {
    let mut violations = Vec::new();
    if freqs_hz.is_empty() {
        violations.push(violation("freqs_hz", "give at least one frequency in Hz"));
    }
    let highest_hz = bandwidth_hz.min(0.47 * rate_hz);
    if let Some(freq_hz) = freqs_hz.iter().find(|&&freq_hz| freq_hz >= highest_hz) {
        violations.push(violation(
            "freqs_hz",
            format!(
                "{freq_hz} Hz is too high: frequencies must be below {highest_hz} Hz, the bandwidth \
                 or what the sample rate of {rate_hz} Hz carries"
            ),
        ));
    }
    if bandwidth_hz > 0.49 * rate_hz {
        violations.push(violation(
            "bandwidth_hz",
            format!(
                "{bandwidth_hz} Hz is beyond what the sample rate of {rate_hz} Hz carries: at most \
                 {} Hz",
                0.49 * rate_hz
            ),
        ));
    }
    violations
}
