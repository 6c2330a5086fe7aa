//! What can be set, and the stimulus that follows from it.

use goodwire_dsp::decibel::amplitude;
use goodwire_dsp::stimulus::Stimulus;
use goodwire_plugin_sdk::api::Parameter;
use goodwire_plugin_sdk::parameters::{self, Narrow, Parameters, whole};
use goodwire_plugin_sdk::payload::OpenRequest;

use crate::programme::Programme;

/// Settings of one measurement.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Periods that are measured on.
    pub period_count: usize,
    level_dbfs: f64,
    wake_s: f64,
}

/// The parameters of the analysis.
pub fn declared() -> Vec<Parameter> {
    let text = "Seconds that are compared: so many times the same second of noise.";
    vec![
        whole("duration_s", 5, text).within(2.0, 60.0),
        parameters::level_dbfs(-20.0),
        parameters::wake_s(),
    ]
}

impl Settings {
    /// Reads them from a request whose parameters are within their bounds.
    pub fn read(request: &OpenRequest) -> Self {
        let read = Parameters::of(request);
        Self {
            period_count: read.whole("duration_s"),
            level_dbfs: read.number("level_dbfs"),
            wake_s: read.number("wake_s"),
        }
    }

    /// The stimulus at `rate_hz`; `seed` decides the wake-up noise alone.
    pub fn stimulus(&self, rate_hz: i32, seed: u64) -> Stimulus<Programme> {
        // The first period is not compared: the link settles in it.
        let body = Programme::new(rate_hz, amplitude(self.level_dbfs), self.period_count + 1);
        Stimulus::new(
            f64::from(rate_hz),
            self.wake_s,
            seed,
            self.level_dbfs,
            self.level_dbfs,
            body,
        )
    }
}
