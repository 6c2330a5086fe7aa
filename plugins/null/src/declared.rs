//! Which figures and curves a result can hold.

use goodwire_plugin_sdk::api::{CurveDescription, FigureDescription};
use goodwire_plugin_sdk::describe::{curve, figure};

/// Every figure, in the order of results.
pub fn figures() -> Vec<FigureDescription> {
    vec![figure("null_depth", "dB", &[])]
}

/// Every curve.
pub fn curves() -> Vec<CurveDescription> {
    vec![curve("residual", ["Hz", "dB"], &[])]
}
