//! How often and for how long the sound was lost.

use goodwire_dsp::watch::{Log, poisson};
use goodwire_plugin_sdk::api::{Figure, FigureDescription, Parameter};
use goodwire_plugin_sdk::describe;
use goodwire_plugin_sdk::figures::figure;
use goodwire_plugin_sdk::parameters::{Narrow, number};

use crate::part::Part;

/// Standard deviation of an edge in seconds: random gaps of four kinds were found within 1.0 ms,
/// the worst of some 1,600 edges, that is three of them (docs/measurement.md).
pub const EDGE_S: f64 = 0.000_33;

/// Most seconds that a dropout may be pieced together over.
const MERGE_MOST_S: f64 = 10.0;

/// The parameter that says which lost pieces are one dropout.
#[must_use]
pub fn merge_s() -> Parameter {
    let text = "Lost pieces closer than this count as one dropout.";
    number("merge_s", "s", 0.1, text).within(0.0, MERGE_MOST_S)
}

/// The figures of this module, in the order of results.
#[must_use]
pub fn declared() -> Vec<FigureDescription> {
    vec![
        describe::figure("dropouts", "", &[]),
        describe::figure("dropout_rate", "1/min", &[]),
        describe::figure("lost_time", "ms", &[]),
        describe::figure("longest", "ms", &[]),
    ]
}

/// What was counted and lost; of a watch that saw too little, what that was at least.
#[must_use]
pub fn sums(log: &Log, part: Option<Part>) -> Vec<Figure> {
    let grows = |figure: Figure| match part {
        Some(part) => part.at_least(figure),
        None => figure,
    };
    let mut figures = vec![grows(dropouts(log))];
    figures.extend(dropout_rate(log));
    figures.push(grows(lost_time(log)));
    figures.push(grows(longest(log)));
    figures
}

/// How many dropouts there were.
#[must_use]
pub fn dropouts(log: &Log) -> Figure {
    figure("dropouts", log.ledger.dropout_count() as f64, 0.0, "")
}

/// Dropouts a minute with their exact 95 % interval (Garwood). `None` where nothing was judged.
fn dropout_rate(log: &Log) -> Option<Figure> {
    let minutes = log.judged_s() / 60.0;
    let count = log.ledger.dropout_count();
    let [low, high] = poisson::interval(count);
    (minutes > 0.0).then(|| Figure {
        low: Some(low / minutes),
        high: Some(high / minutes),
        uncertainty: None,
        ..figure("dropout_rate", count as f64 / minutes, 0.0, "1/min")
    })
}

/// The time that was lost in all pieces, that between pieces not counted.
fn lost_time(log: &Log) -> Figure {
    let lost_ms = 1_000.0 * log.ledger.lost_frame_count() / log.rate_hz;
    let spread_ms = 1_000.0 * lost_time_spread_s(log);
    figure("lost_time", lost_ms, spread_ms, "ms")
}

/// Standard deviation of the time that was lost, in seconds: each piece has two edges.
#[must_use]
pub fn lost_time_spread_s(log: &Log) -> f64 {
    EDGE_S * (2.0 * log.ledger.piece_count() as f64).sqrt()
}

/// The longest piece; 0 where nothing was lost.
fn longest(log: &Log) -> Figure {
    let longest_ms = 1_000.0 * log.ledger.longest_frame_count() / log.rate_hz;
    let spread_ms = match log.ledger.piece_count() {
        0 => 0.0,
        _ => 1_000.0 * EDGE_S * 2.0_f64.sqrt(),
    };
    figure("longest", longest_ms, spread_ms, "ms")
}
