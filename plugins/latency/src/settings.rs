//! What can be set, and what of it does not go together.

use goodwire_dsp::decibel::amplitude;
use goodwire_dsp::response::SweepTrain;
use goodwire_dsp::stimulus::Stimulus;
use goodwire_dsp::sweep::Sweep;
use goodwire_plugin_sdk::api::Parameter;
use goodwire_plugin_sdk::parameters::{
    Narrow, Parameters, level_dbfs, number, synchronous, violation, wake_s, whole,
};
use goodwire_plugin_sdk::payload::{FieldViolation, OpenRequest};

/// Swept band in Hz: that of the latency, 1 to 10 kHz, and room to find the corners beside it.
pub const BAND_HZ: [f64; 2] = [300.0, 16_000.0];

/// Longest body in seconds: all sweeps together.
const BODY_S_MAX: f64 = 600.0;

/// The parameters of the analysis.
pub fn declared() -> Vec<Parameter> {
    let max_text = "Longest latency that is looked for.";
    vec![
        whole(
            "repeats",
            4,
            "Sweeps, each timed by itself; jitter needs two or more.",
        )
        .within(1.0, 100.0),
        number(
            "sweep_s",
            "s",
            1.0,
            "Seconds of one sweep, 300 Hz to 16 kHz.",
        )
        .within(0.2, 30.0),
        level_dbfs(-20.0),
        number("max_ms", "ms", 1_000.0, max_text).within(1.0, 1_000.0),
        wake_s(),
        synchronous(),
    ]
}

/// What was set.
#[derive(Debug, Clone, Copy)]
pub struct Settings {
    pub repeats: usize,
    pub sweep_s: f64,
    pub level_dbfs: f64,
    pub max_ms: f64,
    pub wake_s: f64,
}

impl Settings {
    /// Reads the parameters of `request`, or says what is wrong with them.
    pub fn read(request: &OpenRequest) -> Result<Self, Vec<FieldViolation>> {
        let parameters = Parameters::of(request);
        let settings = Self {
            repeats: parameters.whole("repeats").max(1),
            sweep_s: parameters.number("sweep_s"),
            level_dbfs: parameters.number("level_dbfs"),
            max_ms: parameters.number("max_ms"),
            wake_s: parameters.number("wake_s"),
        };
        let body_s = settings.repeats as f64 * settings.sweep_s;
        if body_s > BODY_S_MAX {
            let text = format!(
                "{} sweeps of {} s take {body_s} s, more than {BODY_S_MAX} s: fewer repeats or a \
                 shorter sweep_s",
                settings.repeats, settings.sweep_s
            );
            return Err(vec![violation("repeats", text)]);
        }
        Ok(settings)
    }

    /// The stimulus at `rate_hz`; `seed` decides its wake-up noise.
    pub fn stimulus(&self, rate_hz: f64, seed: u64) -> Stimulus<SweepTrain> {
        let sweep = Sweep::new(rate_hz, 1.0, BAND_HZ[0], BAND_HZ[1], self.sweep_s);
        let train = SweepTrain::new(sweep, vec![amplitude(self.level_dbfs); self.repeats]);
        let level_dbfs = self.level_dbfs;
        Stimulus::new(rate_hz, self.wake_s, seed, level_dbfs, level_dbfs, train)
    }
}
