//! Which figures and curves a result can hold.

use goodwire_plugin_sdk::api::{CurveDescription, FigureDescription};
use goodwire_plugin_sdk::describe::{curve, figure};

/// Every figure, in the order of results.
pub fn figures() -> Vec<FigureDescription> {
    let mut figures = vec![figure("run_time", "s", &[])];
    figures.extend(goodwire_watching::declared());
    figures
}

/// Every curve.
pub fn curves() -> Vec<CurveDescription> {
    vec![curve("level", ["s", "dBFS"], &[])]
}
