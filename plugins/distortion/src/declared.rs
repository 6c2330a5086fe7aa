//! Which figures and curves a result can hold.

use goodwire_plugin_sdk::api::{CurveDescription, FigureDescription};
use goodwire_plugin_sdk::describe::{curve, figure, with_reference};

/// Harmonics that are told one by one.
const ORDERS: [&str; 4] = ["h2", "h3", "h4", "h5"];

/// Every figure: of single tones, then of pairs of them.
pub fn figures() -> Vec<FigureDescription> {
    let tone = ["frequency_hz", "level_dbfs"];
    let pair = ["frequency_hz", "with_hz", "level_dbfs"];
    let mut figures = vec![figure("thd", "%", &tone), figure("thd_n", "%", &tone)];
    figures.extend(ORDERS.map(|id| figure(id, "dB", &tone)));
    figures.extend(["imd_modulation", "imd_difference"].map(|id| figure(id, "%", &pair)));
    with_reference(figures)
}

/// Every curve of the swept method.
pub fn curves() -> Vec<CurveDescription> {
    let of = |prefix: &str| {
        let mut curves = vec![curve(&format!("{prefix}thd"), ["Hz", "%"], &[])];
        curves.extend(ORDERS.map(|id| curve(&format!("{prefix}{id}"), ["Hz", "dB"], &[])));
        curves
    };
    [of(""), of("reference_")].concat()
}
