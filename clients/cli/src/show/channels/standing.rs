//! How every channel of a table stands, read from the figures.

use goodwire_proto::v1::{ChannelPlan, Figure, RadioChannel};
use prost_types::value::Kind;

/// The figures of a channel; `None` where one could not be had.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing<'a> {
    /// The channel.
    pub channel: &'a RadioChannel,
    /// Its place among all, from 1.
    pub rank: Option<f64>,
    /// From what is in the air.
    pub separation_mhz: Option<f64>,
    /// Share of it that is occupied.
    pub overlap_percent: Option<f64>,
    /// From the nearest other link.
    pub link_gap_mhz: Option<f64>,
    /// From the nearest third-order product.
    pub gap_mhz: Option<f64>,
}

/// All channels, the best first; those without a rank last.
pub fn by_rank<'a>(plan: &'a ChannelPlan, figures: &[Figure]) -> Vec<Standing<'a>> {
    let standings = plan.channels.iter().map(|channel| {
        let of = |id: &str| {
            let mut figures = figures.iter().filter(|figure| figure.id == id);
            figures
                .find(|figure| channel_of(figure) == Some(&channel.name))
                .and_then(|figure| figure.value)
        };
        Standing {
            channel,
            rank: of("rank"),
            separation_mhz: of("separation"),
            overlap_percent: of("overlap"),
            link_gap_mhz: of("link_gap"),
            gap_mhz: of("intermodulation_gap"),
        }
    });
    let mut standings: Vec<_> = standings.collect();
    let place = |one: &Standing<'_>| one.rank.unwrap_or(f64::INFINITY);
    standings.sort_by(|a, b| place(a).total_cmp(&place(b)));
    standings
}

/// The channel that a figure is told of.
pub fn channel_of(figure: &Figure) -> Option<&str> {
    match &figure.at.as_ref()?.fields.get("channel")?.kind {
        Some(Kind::StringValue(name)) => Some(name),
        _ => None,
    }
}
