//! What can be set, and the stimulus that follows from it.

use goodwire_dsp::decibel::amplitude;
use goodwire_dsp::stimulus::Stimulus;
use goodwire_dsp::tone::{Sequence, Tone};
use goodwire_plugin_sdk::api::Parameter;
use goodwire_plugin_sdk::parameters::{self, Narrow, Parameters, number};
use goodwire_plugin_sdk::payload::OpenRequest;

/// The tone of the dynamic range: AES17 (clause from memory).
pub const TONE_HZ: f64 = 997.0;

/// Its highest level in dBFS: AES17 (clause from memory).
const TONE_DBFS: f64 = -60.0;

/// What is left out at the beginning of tone and silence, in seconds: links settle, and
/// companders let go.
pub const SETTLES_S: [f64; 2] = [0.3, 0.5];

/// Seconds of the tone that are measured on: a deviation of 0.02 dB of its A-weighted noise.
const TONE_S: f64 = 3.0;

/// Settings of one measurement.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Frequency of the mains in Hz; 0: to be found.
    pub mains_hz: f64,
    /// Level of the tone at the send in dBFS.
    pub tone_dbfs: f64,
    /// Rate in Hz of the stimulus.
    pub rate_hz: f64,
    duration_s: f64,
    level_dbfs: f64,
    wake_s: f64,
    seed: u64,
}

/// The parameters of the analysis.
pub fn declared() -> Vec<Parameter> {
    let mains = "Frequency of the mains, whose harmonics are named; 0: 50 or 60 Hz, as found.";
    vec![
        number("duration_s", "s", 10.0, "Seconds of silence to listen to.").within(1.0, 60.0),
        number("mains_hz", "Hz", 0.0, mains).within(0.0, 400.0),
        Parameter {
            text: "Peak of the short alignment bursts at both ends, in dB of full scale; the \
                   faint tone between them stays at -60 dBFS or below."
                .to_owned(),
            ..parameters::level_dbfs(-20.0)
        },
        parameters::wake_s(),
    ]
}

impl Settings {
    /// Reads them from a request whose parameters are within their bounds.
    pub fn read(request: &OpenRequest) -> Self {
        let read = Parameters::of(request);
        let level_dbfs = read.number("level_dbfs");
        Self {
            mains_hz: read.number("mains_hz"),
            tone_dbfs: level_dbfs.min(TONE_DBFS),
            rate_hz: f64::from(request.rate_hz),
            duration_s: read.number("duration_s"),
            level_dbfs,
            wake_s: read.number("wake_s"),
            seed: u64::from(request.seed.unsigned_abs()),
        }
    }

    /// The stimulus: bursts, and between them the tone and then silence. The tone comes first, so
    /// that a link which mutes when idle is awake when the silence begins.
    pub fn stimulus(&self) -> Stimulus<Sequence> {
        let lengths_s = [TONE_S, self.duration_s];
        let peaks = [amplitude(self.tone_dbfs), 0.0];
        let piece = |index: usize| {
            let frames = (lengths_s[index] + SETTLES_S[index]) * self.rate_hz;
            Tone::single(TONE_HZ, peaks[index], frames.round() as usize)
        };
        Stimulus::new(
            self.rate_hz,
            self.wake_s,
            self.seed,
            self.level_dbfs,
            self.level_dbfs,
            Sequence::new(self.rate_hz, vec![piece(0), piece(1)]),
        )
    }
}
