//! A channel plan in sentences.

use goodwire_proto::v1::{
    ChannelPlan, OccupiedBand, PlannedLink, RadioChannel, channel_plan::Certainty,
};

use super::{
    panel::Sign,
    text::{self, mhz},
};
use crate::report::words::{counted, joined, link_name, sentence};

/// More links, or bands, than this are counted and not told one by one.
const TOLD_MAX: usize = 24;

/// What a link of a plan is called: those that are not there yet are counted.
pub(crate) fn link(plan: &ChannelPlan, index: usize) -> String {
    let link = &plan.links[index].link;
    if !link.is_empty() {
        return link_name(link).to_owned();
    }
    let before = plan.links[..=index].iter();
    let count = before.filter(|one| one.link.is_empty()).count();
    format!("further link {count}")
}

/// What there is to see, for those who do not see it.
pub(super) fn description(plan: &ChannelPlan) -> String {
    let mut told: Vec<String> = Vec::new();
    if plan.links.len() <= TOLD_MAX {
        let links = plan.links.iter().enumerate();
        told.extend(links.map(|(index, one)| of_link(&link(plan, index), one)));
    } else {
        told.push(format!(
            "{} are planned for.",
            counted(plan.links.len(), "link")
        ));
    }
    let channels = counted(plan.channels.len(), "channel");
    told.push(format!("The table has {channels}."));
    told.push(in_the_air(&plan.occupied));
    if !plan.product_mhz.is_empty() {
        let products = counted(plan.product_mhz.len(), "third-order product");
        told.push(format!("{products} of the links are drawn as ticks."));
    }
    told.join(" ")
}

fn of_link(name: &str, link: &PlannedLink) -> String {
    let (Some(low), Some(high)) = (link.low_mhz, link.high_mhz) else {
        return format!("No channel is left for {name}.");
    };
    let does = match Sign::of(link) {
        Sign::Set => "is to be set to",
        Sign::Stay => "stays on",
        Sign::Fixed => "is fixed on",
    };
    let (low, high) = (mhz(low), mhz(high));
    format!(
        "{name} {does} channel {}, {low} to {high} MHz.",
        link.channel
    )
}

fn in_the_air(occupied: &[OccupiedBand]) -> String {
    if occupied.is_empty() {
        return "Nothing else is known to be in the air.".to_owned();
    }
    if occupied.len() > TOLD_MAX {
        let bands = counted(occupied.len(), "occupied band");
        return format!("{bands} are in the air.");
    }
    let bands = occupied.iter().map(|one| {
        let (low, high) = (mhz(one.low_mhz), mhz(one.high_mhz));
        format!("{}, {low} to {high} MHz", one.name)
    });
    format!("In the air: {}.", bands.collect::<Vec<_>>().join("; "))
}

/// What the plan comes to: how many links fit, and whether that is certain.
pub(super) fn outcome(plan: &ChannelPlan) -> String {
    let (fitting, wanted) = (plan.fitting_count, plan.wanted_count);
    let at_least = match plan.fitting_certainty() {
        Certainty::Heuristic if fitting < wanted => "at least ",
        _ => "",
    };
    let fit = match (fitting, wanted) {
        (_, 0) => "No link had to be placed".to_owned(),
        (1, 1) => "The link fits cleanly".to_owned(),
        (fitting, wanted) if fitting >= wanted => format!("All {wanted} links fit cleanly"),
        (fitting, wanted) => format!(
            "{at_least}{fitting} of {wanted} links fit cleanly, and this is the least bad plan \
             for all"
        ),
    };
    let sure = match plan.certainty() {
        Certainty::Heuristic => "found by a heuristic: a better plan may exist",
        _ => "everything was searched: no plan is better",
    };
    match wanted {
        0 => sentence(&fit),
        _ => sentence(&format!("{fit}; {sure}")),
    }
}

/// What lies nearest to a band in the air, and how far: `1.5 MHz above Wi-Fi channel 6, 20 MHz`.
pub(super) fn nearest(plan: &ChannelPlan, low_mhz: f64, high_mhz: f64) -> String {
    let gap = |band: &&OccupiedBand| (band.low_mhz - high_mhz).max(low_mhz - band.high_mhz);
    let nearest = plan
        .occupied
        .iter()
        .min_by(|a, b| gap(a).total_cmp(&gap(b)));
    let Some(band) = nearest else {
        return "nothing is known to be there".to_owned();
    };
    let (distance, name) = (gap(&band), &band.name);
    match distance {
        inside if inside < 0.0 => format!("{} MHz inside {name}", mhz(-inside)),
        0.0 => format!("touches {name}"),
        clear if band.low_mhz >= high_mhz => format!("{} MHz below {name}", mhz(clear)),
        clear => format!("{} MHz above {name}", mhz(clear)),
    }
}

/// Which link of the plan is nearest, and how far: `6.5 MHz from choir`.
pub(super) fn neighbour(plan: &ChannelPlan, index: usize) -> String {
    let edges = |link: &PlannedLink| Some((link.low_mhz?, link.high_mhz?));
    let Some((low, high)) = edges(&plan.links[index]) else {
        return String::new();
    };
    let others = plan.links.iter().enumerate();
    let gaps = others.filter(|(other, _)| *other != index);
    let gaps = gaps.filter_map(|(other, link)| {
        let (other_low, other_high) = edges(link)?;
        Some(((other_low - high).max(low - other_high), other))
    });
    match gaps.min_by(|a, b| a.0.total_cmp(&b.0)) {
        Some((gap, other)) if gap >= 0.0 => format!("{} MHz from {}", mhz(gap), link(plan, other)),
        Some((gap, other)) => format!("{} MHz inside {}", mhz(-gap), link(plan, other)),
        None => "alone".to_owned(),
    }
}

/// Which links are to be on a channel: `choir`, `choir and foyer`.
pub(super) fn users(plan: &ChannelPlan, channel: &RadioChannel) -> String {
    let links = plan.links.iter().enumerate();
    let users = links.filter(|(_, link)| is_on(link, channel));
    let names: Vec<String> = users.map(|(index, _)| link(plan, index)).collect();
    joined(&names.iter().map(String::as_str).collect::<Vec<_>>())
}

/// True where the link is to be on the channel; fixed links may be on a like-named one of another
/// table.
pub(super) fn is_on(link: &PlannedLink, channel: &RadioChannel) -> bool {
    link.channel == channel.name
        && link.low_mhz == Some(channel.low_mhz)
        && link.high_mhz == Some(channel.high_mhz)
}

/// Links that no channel is left for, as a sentence; empty where there are none.
pub(super) fn left_out(plan: &ChannelPlan) -> String {
    let links = plan.links.iter().enumerate();
    let without = links.filter(|(_, one)| one.channel.is_empty());
    let names: Vec<String> = without.map(|(index, _)| link(plan, index)).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    match names.as_slice() {
        [] => String::new(),
        names => format!("No channel is left for {}.", joined(names)),
    }
}

/// Centre and bandwidth: `2475 (1 wide)`.
pub(super) fn place(low_mhz: f64, high_mhz: f64) -> String {
    let (centre, width) = (0.5 * (low_mhz + high_mhz), high_mhz - low_mhz);
    format!("{} ({} wide)", text::mhz(centre), text::mhz(width))
}
