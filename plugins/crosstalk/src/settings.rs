//! What can be set, and the stimulus that follows from it.

use goodwire_dsp::decibel::amplitude;
use goodwire_dsp::response::SweepTrain;
use goodwire_dsp::stimulus::Stimulus;
use goodwire_dsp::sweep::Sweep;
use goodwire_plugin_sdk::api::Parameter;
use goodwire_plugin_sdk::parameters::{self, Narrow, Parameters, number};
use goodwire_plugin_sdk::payload::OpenRequest;

/// Band in Hz that the figure and the curve are of.
pub const BAND_HZ: [f64; 2] = [20.0, 20_000.0];

/// Swept band in Hz. It begins far lower, so that the noise at its edge, where what leaks
/// from circuit to circuit is weakest, stays out of the band.
pub const SWEPT_HZ: [f64; 2] = [3.0, 20_000.0];

/// Settings of one measurement.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    duration_s: f64,
    level_dbfs: f64,
    wake_s: f64,
}

/// The parameters of the analysis.
pub fn declared() -> Vec<Parameter> {
    let text = "Seconds of the sweep, 3 Hz to 20 kHz: four times as long hears 6 dB more.";
    vec![
        number("duration_s", "s", 5.0, text).within(1.0, 60.0),
        parameters::level_dbfs(-20.0),
        parameters::wake_s(),
    ]
}

impl Settings {
    /// Reads them from a request whose parameters are within their bounds.
    pub fn read(request: &OpenRequest) -> Self {
        let read = Parameters::of(request);
        Self {
            duration_s: read.number("duration_s"),
            level_dbfs: read.number("level_dbfs"),
            wake_s: read.number("wake_s"),
        }
    }

    /// The stimulus at `rate_hz`; `seed` decides the wake-up noise alone.
    pub fn stimulus(&self, rate_hz: f64, seed: u64) -> Stimulus<SweepTrain> {
        let sweep = Sweep::new(rate_hz, 1.0, SWEPT_HZ[0], SWEPT_HZ[1], self.duration_s);
        let train = SweepTrain::new(sweep, vec![amplitude(self.level_dbfs)]);
        let (level_dbfs, wake_s) = (self.level_dbfs, self.wake_s);
        Stimulus::new(rate_hz, wake_s, seed, level_dbfs, level_dbfs, train)
    }
}
