//! What can be set, and what all methods share of it.

use goodwire_plugin_sdk::api::Parameter;
use goodwire_plugin_sdk::parameters::{
    self, Narrow, Parameters, choice, number, numbers, violation,
};
use goodwire_plugin_sdk::payload::{FieldViolation, OpenRequest};

use crate::{intermodulation, stepped, swept};

/// Lower end of the band of noise and distortion, in Hz.
pub const BAND_FROM_HZ: f64 = 20.0;

/// Share of the rate below which all that is measured has to lie.
const BAND_RATE_SHARE: f64 = 0.49;

/// The parameters of the analysis.
pub fn parameters() -> Vec<Parameter> {
    vec![
        choice(
            "method",
            &["stepped", "swept", "intermodulation"],
            "How the link is tried: stepped plays one steady tone after the other, swept glides \
             through all frequencies, intermodulation plays two tones at once.",
        ),
        numbers(
            "freqs_hz",
            "Hz",
            &stepped::FREQS_HZ,
            "Frequencies of the tones (stepped).",
        )
        .within(20.0, 20_000.0),
        parameters::level_dbfs(-20.0),
        number(
            "bandwidth_hz",
            "Hz",
            20_000.0,
            "Harmonics and noise count below this frequency (stepped, swept).",
        )
        .within(1_000.0, 90_000.0),
        number(
            "duration_s",
            "s",
            1.0,
            "Length of each tone (stepped) and pair of tones (intermodulation).",
        )
        .within(0.3, 60.0),
        number(
            "start_hz",
            "Hz",
            20.0,
            "Lowest frequency of the curves, which end at bandwidth_hz; sweeps shorter than 3 s tell \
             none below 60 Hz / sweep_s (swept).",
        )
        .within(20.0, 10_000.0),
        number(
            "sweep_s",
            "s",
            swept::SWEEP_S,
            "Length of the sweep (swept).",
        )
        .within(1.0, 60.0),
        numbers(
            "modulation_hz",
            "Hz",
            &intermodulation::MODULATION_HZ,
            "The low, loud tone and the high one, 12 dB softer, of imd_modulation \
             (intermodulation).",
        )
        .within(20.0, 20_000.0)
        .rising(),
        numbers(
            "difference_hz",
            "Hz",
            &intermodulation::DIFFERENCE_HZ,
            "The two equal tones of imd_difference (intermodulation).",
        )
        .within(20.0, 20_000.0)
        .rising(),
        parameters::wake_s(),
    ]
}

/// What all methods share.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Peak of what is played, in dBFS.
    pub level_dbfs: f64,
    /// Upper end of the band of harmonics and noise, in Hz.
    pub bandwidth_hz: f64,
    /// Rate in Hz of the stimulus.
    pub rate_hz: f64,
    /// The lower of the rates at which the sound is made and heard, in Hz.
    pub least_rate_hz: f64,
    /// Length of each tone in seconds.
    pub duration_s: f64,
    /// Length of the wake-up in seconds.
    pub wake_s: f64,
    /// Seed of the wake-up.
    pub seed: u64,
}

impl Settings {
    /// Reads them from a request whose parameters are within their bounds.
    pub fn read(request: &OpenRequest) -> Self {
        let read = Parameters::of(request);
        let rate_hz = f64::from(request.rate_hz);
        let returned_rate_hz = match f64::from(request.returned_rate_hz) {
            0.0 => rate_hz,
            returned_rate_hz => returned_rate_hz,
        };
        Self {
            level_dbfs: read.number("level_dbfs"),
            bandwidth_hz: read.number("bandwidth_hz"),
            rate_hz,
            least_rate_hz: rate_hz.min(returned_rate_hz),
            duration_s: read.number("duration_s"),
            wake_s: read.number("wake_s"),
            seed: u64::try_from(request.seed).unwrap_or(0),
        }
    }

    /// What is wrong with the bandwidth where at most `share` of the rate is carried.
    pub fn bandwidth_violation(&self, share: f64) -> Option<FieldViolation> {
        let highest_hz = share * self.least_rate_hz;
        (self.bandwidth_hz > highest_hz).then(|| {
            violation(
                "bandwidth_hz",
                format!(
                    "{} Hz is beyond what the sample rate of {} Hz carries: at most {highest_hz} \
                     Hz",
                    self.bandwidth_hz, self.least_rate_hz
                ),
            )
        })
    }

    /// The same for what needs no room above the band.
    pub fn bandwidth_violation_of_tones(&self) -> Option<FieldViolation> {
        self.bandwidth_violation(BAND_RATE_SHARE)
    }
}
