//! Which figures and curves a result can hold.

use goodwire_plugin_sdk::api::{CurveDescription, FigureDescription};
use goodwire_plugin_sdk::describe::{curve, figure};

/// Every figure, in the order of results.
pub fn figures() -> Vec<FigureDescription> {
    vec![
        figure("dropouts", "", &[]),
        figure("dropout_rate", "1/min", &[]),
        figure("lost_time", "ms", &[]),
        figure("longest", "ms", &[]),
        figure("availability", "%", &[]),
        figure("range", "m", &[]),
    ]
}

/// Every curve.
pub fn curves() -> Vec<CurveDescription> {
    vec![
        curve("level", ["s", "dBFS"], &[]),
        curve("level_over_distance", ["m", "dBFS"], &[]),
    ]
}
