//! A channel plan in sentences.

use goodwire_proto::v1::{
    ChannelPlan, OccupiedBand, PlannedLink, RadioChannel, channel_plan::Certainty,
};

/// What a link of a plan is called: those that are not there yet are counted.
pub fn link(plan: &ChannelPlan, index: usize) -> String {
    let name = &plan.links[index].link;
    if !name.is_empty() {
        return name.trim_start_matches("links/").to_owned();
    }
    let before = plan.links[..=index].iter();
    let count = before.filter(|one| one.link.is_empty()).count();
    format!("further link {count}")
}

/// A frequency or a distance between frequencies in MHz, to the nearest kHz: `2412`, `863.125`.
pub fn mhz(mhz: f64) -> String {
    let text = format!("{mhz:.3}");
    match text.trim_end_matches('0').trim_end_matches('.') {
        "-0" => "0".to_owned(),
        text => text.to_owned(),
    }
}

/// What the plan comes to: how many links fit, and whether that is certain.
pub fn outcome(plan: &ChannelPlan) -> String {
    let (fitting, wanted) = (plan.fitting_count, plan.wanted_count);
    let is_exact = plan.fitting_certainty() != Certainty::Heuristic;
    let fit = match (fitting, wanted) {
        (_, 0) => return "No link had to be placed.".to_owned(),
        (1, 1) => "The link fits cleanly".to_owned(),
        (fitting, wanted) if fitting >= wanted => format!("All {wanted} links fit cleanly"),
        (fitting, wanted) => format!(
            "{}{fitting} of {wanted} links fit cleanly, and this is the least bad plan for all",
            if is_exact { "" } else { "At least " }
        ),
    };
    let sure = match plan.certainty() {
        Certainty::Heuristic => "a heuristic found it: a better plan may exist",
        _ => "everything was searched: no plan is better",
    };
    format!("{fit}; {sure}.")
}

/// What lies nearest to a band in the air, and how far in MHz: `1.5 above Wi-Fi channel 6, 20 MHz`.
pub fn nearest(plan: &ChannelPlan, low_mhz: f64, high_mhz: f64) -> String {
    let gap = |band: &OccupiedBand| (band.low_mhz - high_mhz).max(low_mhz - band.high_mhz);
    let nearest = plan
        .occupied
        .iter()
        .min_by(|a, b| gap(a).total_cmp(&gap(b)));
    let Some(band) = nearest else {
        return "nothing known".to_owned();
    };
    let (distance_mhz, name) = (gap(band), &band.name);
    match distance_mhz {
        inside if inside < 0.0 => format!("{} inside {name}", mhz(-inside)),
        0.0 => format!("touches {name}"),
        clear if band.low_mhz >= high_mhz => format!("{} below {name}", mhz(clear)),
        clear => format!("{} above {name}", mhz(clear)),
    }
}

/// Distance to the nearest other link in MHz, negative where they overlap; empty where there is none.
pub fn to_next_link(plan: &ChannelPlan, index: usize) -> String {
    let edges = |link: &PlannedLink| Some((link.low_mhz?, link.high_mhz?));
    let Some((low, high)) = edges(&plan.links[index]) else {
        return String::new();
    };
    let others = plan.links.iter().enumerate();
    let others = others.filter(|(other, _)| *other != index);
    let gaps = others.filter_map(|(_, link)| {
        let (other_low, other_high) = edges(link)?;
        Some((other_low - high).max(low - other_high))
    });
    gaps.reduce(f64::min).map_or_else(String::new, mhz)
}

/// Which links are to be on a channel of the table: `choir, foyer`.
pub fn users(plan: &ChannelPlan, channel: &RadioChannel) -> String {
    let links = plan.links.iter().enumerate();
    let users = links.filter(|(_, link)| {
        link.channel == channel.name
            && link.low_mhz == Some(channel.low_mhz)
            && link.high_mhz == Some(channel.high_mhz)
    });
    let names: Vec<String> = users.map(|(index, _)| link(plan, index)).collect();
    names.join(", ")
}
