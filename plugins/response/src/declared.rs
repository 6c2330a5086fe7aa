//! Which figures and curves a result can hold.

use goodwire_plugin_sdk::api::{CurveDescription, FigureDescription};
use goodwire_plugin_sdk::describe::{curve, figure};

/// Every figure, in the order of results.
pub fn figures() -> Vec<FigureDescription> {
    vec![
        figure("gain", "dB", &[]),
        figure("deviation", "dB", &["from_hz", "to_hz", "frequency_hz"]),
        figure("corner_low", "Hz", &[]),
        figure("corner_high", "Hz", &[]),
        figure("level_dependence", "dB", &["frequency_hz"]),
        figure("snr", "dB", &[]),
        figure("jitter", "ms", &[]),
    ]
}

/// Every curve.
pub fn curves() -> Vec<CurveDescription> {
    vec![
        curve("magnitude", ["Hz", "dB"], &[]),
        curve("phase", ["Hz", "degree"], &[]),
        curve("group_delay", ["Hz", "ms"], &[]),
    ]
}
