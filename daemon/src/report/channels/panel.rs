//! Where everything in a panel lies, in pixels from its own left end; nothing is drawn yet.

use goodwire_proto::v1::{ChannelPlan, PlannedLink, RadioChannel};

use super::{
    air::{self, Bar},
    region::Region,
    rows,
    text::{self, SIZE_PX, SMALL_PX},
};
use crate::report::plot::{Axis, Scale};

/// Length of the axis of a panel.
pub(super) const LENGTH_PX: f64 = 600.0;
/// Room to the right of it, into which texts may reach.
pub(super) const BESIDE_PX: f64 = 152.0;
/// From a pole to its text, past its sign.
pub(super) const SIGN_PX: f64 = 9.0;
/// Widest text at a pole: poles at the right end of the axis have so much room, less the sign.
const FLAG_PX: f64 = BESIDE_PX - SIGN_PX - 4.0;
/// Rows of texts at the poles.
const ROWS: usize = 20;
/// Least distance between two texts beside each other.
const GAP_PX: f64 = 8.0;

/// A panel.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Panel {
    /// The frequencies.
    pub(super) axis: Axis,
    /// The links of the plan, from left to right.
    pub(super) flags: Vec<Flag>,
    /// The channels of the table, from left to right.
    pub(super) slots: Vec<Slot>,
    /// Those names of channels that there is room for, with where their middles are.
    pub(super) names: Vec<(f64, String)>,
    /// What is in the air.
    pub(super) bars: Vec<Bar>,
    /// So many more are in the air below and above what is shown.
    pub(super) beyond: (usize, usize),
    /// Third-order products, and whether each is inside a channel of a link.
    pub(super) products: Vec<(f64, bool)>,
}

/// What a link is to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Sign {
    /// It is to be set to the channel.
    Set,
    /// It is set to the channel already.
    Stay,
    /// It stays where it is, and the others are planned round it.
    Fixed,
}

impl Sign {
    /// What a link is to do.
    pub(super) fn of(link: &PlannedLink) -> Self {
        if link.is_fixed {
            Self::Fixed
        } else if link.channel == link.channel_now {
            Self::Stay
        } else {
            Self::Set
        }
    }
}

/// A link at its channel.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Flag {
    /// Edges of the channel.
    pub(super) edges_px: (f64, f64),
    /// Row of the text; 0 is the lowest.
    pub(super) row: usize,
    /// Name of the link and of the channel; empty where there is no room.
    pub(super) text: String,
    /// What it is to do.
    pub(super) sign: Sign,
}

impl Flag {
    /// Where its pole stands.
    pub(super) fn pole_px(&self) -> f64 {
        0.5 * (self.edges_px.0 + self.edges_px.1)
    }
}

/// A channel of the table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Slot {
    /// Its edges.
    pub(super) edges_px: (f64, f64),
    /// Its row, for rows of a table may overlap; 0 is the highest.
    pub(super) row: usize,
    /// True where a link is to be on it.
    pub(super) is_taken: bool,
}

/// Lays out a part of the spectrum.
pub(super) fn of_region(plan: &ChannelPlan, region: &Region) -> Panel {
    let axis = Axis {
        scale: Scale::Linear,
        low: region.low_mhz,
        high: region.high_mhz,
        length_px: LENGTH_PX,
        label: "Frequency (MHz)".to_owned(),
    };
    let channels = plan.channels.iter();
    let mut channels: Vec<&RadioChannel> = channels
        .filter(|one| region.meets(one.low_mhz, one.high_mhz))
        .collect();
    channels.sort_by(|a, b| a.low_mhz.total_cmp(&b.low_mhz));
    let (bars, beyond) = air::of_region(plan, region, &axis);
    Panel {
        flags: flags(plan, region, &axis),
        slots: slots(plan, &channels, &axis),
        names: names(plan, &channels, &axis),
        bars,
        beyond,
        products: products(plan, region, &axis),
        axis,
    }
}

/// Products that would be drawn on each other are one.
fn products(plan: &ChannelPlan, region: &Region, axis: &Axis) -> Vec<(f64, bool)> {
    let is_hit = |mhz: f64| {
        let mut links = plan.links.iter();
        links.any(|link| link.low_mhz <= Some(mhz) && Some(mhz) <= link.high_mhz)
    };
    let mut products: Vec<(f64, bool)> = plan
        .product_mhz
        .iter()
        .filter(|mhz| region.meets(**mhz, **mhz))
        .map(|mhz| ((2.0 * axis.px(*mhz)).round() / 2.0, is_hit(*mhz)))
        .collect();
    products.dedup_by(|next, kept| {
        let is_same = next.0 == kept.0;
        kept.1 |= is_same && next.1;
        is_same
    });
    products
}

/// True where a link of the plan is on the channel.
fn is_taken(plan: &ChannelPlan, channel: &RadioChannel) -> bool {
    plan.links
        .iter()
        .any(|link| super::words::is_on(link, channel))
}

fn slots(plan: &ChannelPlan, channels: &[&RadioChannel], axis: &Axis) -> Vec<Slot> {
    let edges = channels
        .iter()
        .map(|one| (axis.px(one.low_mhz), axis.px(one.high_mhz)));
    let edges: Vec<(f64, f64)> = edges.collect();
    // Channels that touch do not overlap.
    let rows = rows::packed(&edges, -0.01);
    let slots = edges.into_iter().zip(rows).zip(channels);
    slots
        .map(|((edges_px, row), channel)| Slot {
            edges_px,
            row,
            is_taken: is_taken(plan, channel),
        })
        .collect()
}

/// Names of the channels of the plan come first, then all others from left to right.
fn names(plan: &ChannelPlan, channels: &[&RadioChannel], axis: &Axis) -> Vec<(f64, String)> {
    let mut spans: Vec<(f64, f64)> = Vec::new();
    let mut names = Vec::new();
    for wants_taken in [true, false] {
        for channel in channels {
            if is_taken(plan, channel) != wants_taken {
                continue;
            }
            let middle = axis.px(0.5 * (channel.low_mhz + channel.high_mhz));
            let half = 0.5 * (text::width_px(&channel.name, SMALL_PX) + 0.5 * GAP_PX);
            let span = (middle - half, middle + half);
            let is_free = spans.iter().all(|one| span.1 <= one.0 || one.1 <= span.0);
            if is_free {
                spans.push(span);
                names.push((middle, channel.name.clone()));
            }
        }
    }
    names
}

/// With the names of link and channel; where those would tower, with the channels alone; where those
/// would, without.
fn flags(plan: &ChannelPlan, region: &Region, axis: &Axis) -> Vec<Flag> {
    let named = |index: usize| {
        let name = super::words::link(plan, index);
        format!("{name} · {}", plan.links[index].channel)
    };
    let mut flags: Vec<(usize, Flag)> = Vec::new();
    for (index, link) in plan.links.iter().enumerate() {
        let (Some(low), Some(high)) = (link.low_mhz, link.high_mhz) else {
            continue;
        };
        if region.meets(low, high) {
            let flag = Flag {
                edges_px: (axis.px(low), axis.px(high)),
                row: 0,
                text: String::new(),
                sign: Sign::of(link),
            };
            flags.push((index, flag));
        }
    }
    flags.sort_by(|a, b| a.1.pole_px().total_cmp(&b.1.pole_px()));
    let channel = |index: usize| plan.links[index].channel.clone();
    let written = stacked(&flags, named).or_else(|| stacked(&flags, channel));
    written.unwrap_or_else(|| flags.into_iter().map(|(_, flag)| flag).collect())
}

/// The flags with their texts in rows; `None` where there would be too many rows.
fn stacked(flags: &[(usize, Flag)], text_of: impl Fn(usize) -> String) -> Option<Vec<Flag>> {
    let texts = flags
        .iter()
        .map(|(index, _)| text::shortened(&text_of(*index), SIZE_PX, FLAG_PX));
    let texts: Vec<String> = texts.collect();
    let spans = flags.iter().zip(&texts).map(|((_, flag), text)| {
        // Half a sign stands to the left of the next pole.
        let width = text::width_px(text, SIZE_PX) + 2.0 * SIGN_PX;
        (flag.pole_px(), width)
    });
    let rows = rows::flags(&spans.collect::<Vec<_>>());
    if rows.iter().any(|row| *row >= ROWS) {
        return None;
    }
    let stacked = flags.iter().zip(texts).zip(rows);
    let stacked = stacked.map(|(((_, flag), text), row)| Flag {
        text,
        row,
        ..flag.clone()
    });
    Some(stacked.collect())
}
