//! Which figures a result can hold.

use goodwire_plugin_sdk::api::FigureDescription;
use goodwire_plugin_sdk::describe::figure;

/// Every figure, in the order of results.
pub fn figures() -> Vec<FigureDescription> {
    let of_channel = |id, unit| figure(id, unit, &["channel"]);
    vec![
        of_channel("separation", "MHz"),
        of_channel("overlap", "%"),
        of_channel("link_gap", "MHz"),
        of_channel("intermodulation_gap", "MHz"),
        of_channel("rank", ""),
        figure("reach", "m", &[]),
    ]
}
