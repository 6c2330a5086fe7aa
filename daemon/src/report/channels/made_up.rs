//! Plans that were made up, for the tests.

use goodwire_proto::v1::{
    ChannelPlan, OccupiedBand, PlannedLink, RadioChannel, channel_plan::Certainty,
};

/// A channel of 1 MHz with a number for a name, 2402 MHz and up by 4 MHz.
fn channel(number: usize, step_mhz: f64, width_mhz: f64, first_mhz: f64) -> RadioChannel {
    let centre_mhz = first_mhz + step_mhz * number as f64;
    RadioChannel {
        name: (number + 1).to_string(),
        low_mhz: centre_mhz - 0.5 * width_mhz,
        high_mhz: centre_mhz + 0.5 * width_mhz,
    }
}

/// A link on a channel of the plan, which was on another before.
pub(super) fn link(plan: &ChannelPlan, link: &str, number: usize, now: &str) -> PlannedLink {
    let channel = &plan.channels[number - 1];
    PlannedLink {
        link: link.into(),
        channel: channel.name.clone(),
        low_mhz: Some(channel.low_mhz),
        high_mhz: Some(channel.high_mhz),
        channel_now: now.into(),
        is_fixed: false,
    }
}

pub(super) fn wifi(channel: u32, level_dbm: Option<f64>) -> OccupiedBand {
    let centre_mhz = 2407.0 + 5.0 * f64::from(channel);
    band(
        &format!("Wi-Fi channel {channel}, 20 MHz"),
        centre_mhz - 10.0,
        centre_mhz + 10.0,
        level_dbm,
    )
}

pub(super) fn band(
    name: &str,
    low_mhz: f64,
    high_mhz: f64,
    level_dbm: Option<f64>,
) -> OccupiedBand {
    OccupiedBand {
        name: name.into(),
        low_mhz,
        high_mhz,
        level_dbm,
        origin: "configuration".into(),
    }
}

/// 2 f1 - f2 of all pairs.
fn products(plan: &mut ChannelPlan) {
    let centres = plan.links.iter();
    let centres = centres.filter_map(|one| Some(0.5 * (one.low_mhz? + one.high_mhz?)));
    let centres: Vec<f64> = centres.collect();
    for a in &centres {
        plan.product_mhz
            .extend(centres.iter().filter(|b| *b != a).map(|b| 2.0 * a - b));
    }
    plan.product_mhz.sort_by(f64::total_cmp);
}

/// Twenty channels of 2 MHz at 2.4 GHz beside three Wi-Fi channels, with six links.
pub(crate) fn venue() -> ChannelPlan {
    let mut plan = ChannelPlan {
        channels: (0..20)
            .map(|number| channel(number, 4.0, 2.0, 2402.0))
            .collect(),
        occupied: vec![wifi(1, None), wifi(6, Some(-52.0)), wifi(11, Some(-71.0))],
        fitting_count: 5,
        wanted_count: 6,
        flaws: vec!["foyer on 9 is inside Wi-Fi channel 6, 20 MHz".into()],
        separation_mhz_least: Some(-9.0),
        ..ChannelPlan::default()
    };
    let links = [
        ("links/lectern", 6, "1"),
        ("links/choir", 7, "7"),
        ("links/drum-riser", 12, "3"),
        ("links/foyer", 13, ""),
        ("links/organ-loft", 19, "20"),
        ("", 20, ""),
    ];
    plan.links = links
        .map(|(name, number, now)| link(&plan, name, number, now))
        .into();
    plan.links[4].is_fixed = true;
    plan.set_certainty(Certainty::Exact);
    plan.set_fitting_certainty(Certainty::Exact);
    products(&mut plan);
    plan
}

/// The same beside all thirteen Wi-Fi channels, Bluetooth and two bands far away.
pub(crate) fn crowded() -> ChannelPlan {
    let mut plan = venue();
    plan.occupied = (1..=13)
        .map(|channel| wifi(channel, Some(-40.0 - f64::from(channel))))
        .collect();
    plan.occupied
        .push(band("bluetooth <low & \"energy\">", 2400.0, 2483.5, None));
    plan.occupied.push(band(
        "Wi-Fi channel 42, 80 MHz",
        5170.0,
        5250.0,
        Some(-60.0),
    ));
    plan.occupied.push(band(
        "Wi-Fi channel 149, 20 MHz",
        5735.0,
        5755.0,
        Some(-80.0),
    ));
    plan.occupied.push(band("television", 470.0, 478.0, None));
    plan
}

/// Sixty-four links on as many channels of 200 kHz at 600 MHz, with television all round.
pub(crate) fn many() -> ChannelPlan {
    let mut plan = ChannelPlan {
        channels: (0..64)
            .map(|number| channel(number, 0.375, 0.2, 600.1))
            .collect(),
        ..ChannelPlan::default()
    };
    plan.links = (1..=64).map(|number| link(&plan, "", number, "")).collect();
    plan.occupied = (0..28)
        .map(|number| 470.0 + 8.0 * f64::from(number))
        .filter(|low| *low < 600.0 || 624.0 <= *low)
        .map(|low| band("television", low, low + 8.0, None))
        .collect();
    plan.set_certainty(Certainty::Heuristic);
    plan.wanted_count = 64;
    plan.fitting_count = 12;
    plan
}

/// Twenty links with long names on neighbouring channels, all at once.
pub(crate) fn twenty() -> ChannelPlan {
    let mut plan = venue();
    plan.product_mhz.clear();
    let links =
        (1..=20).map(|number| link(&plan, &format!("links/balcony-left-{number}"), number, ""));
    plan.links = links.collect();
    plan
}
