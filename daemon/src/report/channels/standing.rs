//! How every channel of a table stands, read from the figures.

use std::collections::HashMap;

use goodwire_proto::v1::{ChannelPlan, Figure, Measurement, RadioChannel};
use prost_types::value::Kind;

/// The figures of a channel; `None` where one could not be had.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Standing<'a> {
    /// The channel.
    pub(super) channel: &'a RadioChannel,
    /// Its place among all, from 1.
    pub(super) rank: Option<f64>,
    /// From what is in the air.
    pub(super) separation_mhz: Option<f64>,
    /// Share of it that is occupied.
    pub(super) overlap_percent: Option<f64>,
    /// From the nearest other link.
    pub(super) link_gap_mhz: Option<f64>,
    /// From the nearest third-order product.
    pub(super) gap_mhz: Option<f64>,
}

/// All channels, the best first; those without a rank last.
pub(super) fn by_rank<'a>(measurement: &Measurement, plan: &'a ChannelPlan) -> Vec<Standing<'a>> {
    let figures = measurement.figures.iter();
    let known: HashMap<(&str, &str), f64> = figures
        .filter_map(|figure| Some(((figure.id.as_str(), channel_of(figure)?), figure.value?)))
        .collect();
    let mut standings: Vec<Standing<'_>> = plan
        .channels
        .iter()
        .map(|channel| {
            let of = |id: &str| known.get(&(id, channel.name.as_str())).copied();
            Standing {
                channel,
                rank: of("rank"),
                separation_mhz: of("separation"),
                overlap_percent: of("overlap"),
                link_gap_mhz: of("link_gap"),
                gap_mhz: of("intermodulation_gap"),
            }
        })
        .collect();
    let place = |one: &Standing<'_>| one.rank.unwrap_or(f64::INFINITY);
    standings.sort_by(|a, b| place(a).total_cmp(&place(b)));
    standings
}

fn channel_of(figure: &Figure) -> Option<&str> {
    match &figure.at.as_ref()?.fields.get("channel")?.kind {
        Some(Kind::StringValue(name)) => Some(name),
        _ => None,
    }
}
