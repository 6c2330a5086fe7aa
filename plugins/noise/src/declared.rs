//! Which figures and curves a result can hold.

use goodwire_plugin_sdk::api::{CurveDescription, FigureDescription};
use goodwire_plugin_sdk::describe::{curve, figure, with_reference};

/// Every figure, in the order of results.
pub fn figures() -> Vec<FigureDescription> {
    with_reference(vec![
        figure("noise", "dBFS", &[]),
        figure("noise_a", "dBFS", &[]),
        figure("noise_468", "dBFS", &[]),
        figure("noise_ccir_rms", "dBFS", &[]),
        figure("dynamic_range_a", "dB", &[]),
        figure("dynamic_range_ccir_rms", "dB", &[]),
        figure("hum", "dBFS", &["frequency_hz"]),
    ])
}

/// Every curve.
pub fn curves() -> Vec<CurveDescription> {
    ["noise_spectrum", "reference_noise_spectrum"]
        .map(|id| curve(id, ["Hz", "dBFS"], &[]))
        .to_vec()
}
