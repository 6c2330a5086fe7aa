//! Which figures and curves a result can hold.

use goodwire_plugin_sdk::api::{CurveDescription, FigureDescription};
use goodwire_plugin_sdk::describe::{curve, figure};

/// Every figure, in the order of results.
pub fn figures() -> Vec<FigureDescription> {
    vec![
        figure("gain", "dB", &["frequency_hz"]),
        figure("polarity", "", &[]),
        figure("compression_point", "dBFS", &[]),
        figure("clip_point", "dBFS", &[]),
        figure("unclipped_to", "dBFS", &[]),
        figure("linearity", "dB", &["level_dbfs"]),
    ]
}

/// Every curve.
pub fn curves() -> Vec<CurveDescription> {
    vec![curve("input_output", ["dBFS", "dBFS"], &[])]
}
