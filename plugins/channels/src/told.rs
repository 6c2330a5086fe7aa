//! The plan as clients get it.

use goodwire_plugin_sdk::api::channel_plan::Certainty as Told;
use goodwire_plugin_sdk::api::{ChannelPlan, OccupiedBand, PlannedLink, RadioChannel};
use goodwire_radio::band::Band;
use goodwire_radio::plan::Certainty;
use goodwire_radio::products::{Product, third_order};
use goodwire_radio::table::Channel;

use crate::air::{Air, Transmission};
use crate::chosen::Chosen;
use crate::settings::Settings;
use crate::words;

/// Most products that are told.
const PRODUCTS_TOLD: usize = 200;
/// Most occupied bands that are told; all of them count.
pub const OCCUPIED_TOLD: usize = 1_000;
/// Most flaws that are told.
const FLAWS_TOLD: usize = 100;
/// Products count as beside the table up to this share of its width from its edges.
const BESIDE: f64 = 0.1;

/// The plan.
pub fn plan(chosen: &Chosen<'_>, air: &Air, settings: &Settings) -> ChannelPlan {
    let mut flaws = words::flaws(chosen, air, settings);
    if flaws.len() > FLAWS_TOLD {
        let more = flaws.len() - FLAWS_TOLD;
        flaws.truncate(FLAWS_TOLD);
        flaws.push(format!("and {more} more"));
    }
    let plan = &chosen.plan;
    let mut told = ChannelPlan {
        channels: chosen.scene.table.channels().iter().map(channel).collect(),
        links: links(chosen),
        occupied: air
            .transmissions
            .iter()
            .take(OCCUPIED_TOLD)
            .map(occupied)
            .collect(),
        product_mhz: product_mhz(chosen, settings),
        fitting_count: count(plan.fitting_count),
        wanted_count: count(chosen.wanted_count),
        flaws,
        separation_mhz_least: plan.separation_mhz_least,
        ..ChannelPlan::default()
    };
    told.set_certainty(certainty(plan.certainty));
    told.set_fitting_certainty(certainty(plan.fitting_certainty));
    told
}

fn certainty(certainty: Certainty) -> Told {
    match certainty {
        Certainty::Exact => Told::Exact,
        Certainty::Heuristic => Told::Heuristic,
    }
}

fn count(count: usize) -> i32 {
    i32::try_from(count).unwrap_or(i32::MAX)
}

fn channel(channel: &Channel) -> RadioChannel {
    RadioChannel {
        name: channel.name.clone(),
        low_mhz: channel.band.low_mhz(),
        high_mhz: channel.band.high_mhz(),
    }
}

fn occupied(one: &Transmission) -> OccupiedBand {
    let occupant = &one.heard.occupant;
    OccupiedBand {
        name: occupant.name.clone(),
        low_mhz: occupant.band.low_mhz(),
        high_mhz: occupant.band.high_mhz(),
        level_dbm: one.heard.level_dbm,
        origin: one.origin.clone(),
    }
}

/// The links with the table, then those of other tables.
fn links(chosen: &Chosen<'_>) -> Vec<PlannedLink> {
    let channels = chosen.scene.table.channels();
    let own = chosen
        .scene
        .own
        .iter()
        .zip(&chosen.rows)
        .zip(&chosen.is_kept);
    let own = own.map(|((own, row), is_kept)| {
        let channel = row.map(|row| &channels[row]);
        PlannedLink {
            link: name(&own.link),
            channel: channel.map(|one| one.name.clone()).unwrap_or_default(),
            low_mhz: channel.map(|one| one.band.low_mhz()),
            high_mhz: channel.map(|one| one.band.high_mhz()),
            channel_now: own
                .now
                .map(|now| channels[now].name.clone())
                .unwrap_or_default(),
            is_fixed: *is_kept,
        }
    });
    let others = chosen.scene.others.iter().map(|other| PlannedLink {
        link: name(&other.link),
        channel: other.channel.clone(),
        low_mhz: Some(other.band.low_mhz()),
        high_mhz: Some(other.band.high_mhz()),
        channel_now: other.channel.clone(),
        is_fixed: true,
    });
    own.chain(others).collect()
}

fn name(link: &str) -> String {
    if link.is_empty() {
        return String::new();
    }
    format!("links/{link}")
}

/// Centres of the products within or beside the table, rising: those nearest to a link.
fn product_mhz(chosen: &Chosen<'_>, settings: &Settings) -> Vec<f64> {
    let bands: Vec<Band> = chosen
        .carriers()
        .iter()
        .map(|carrier| carrier.band)
        .collect();
    let of_table = chosen.scene.table.bands();
    let low_mhz = of_table
        .iter()
        .map(Band::low_mhz)
        .fold(f64::INFINITY, f64::min);
    let high_mhz = of_table.iter().map(Band::high_mhz).fold(0.0, f64::max);
    let beside_mhz = BESIDE * (high_mhz - low_mhz);
    let range_mhz = low_mhz - beside_mhz..=high_mhz + beside_mhz;
    let gap_mhz = |product: &Product| {
        let gaps = bands
            .iter()
            .map(|band| product.gap_mhz(band, settings.rules.extent));
        gaps.fold(f64::INFINITY, f64::min)
    };
    let products = third_order(&bands).into_iter();
    let mut near: Vec<(f64, f64)> = products
        .map(|product| (gap_mhz(&product), product.centre_mhz()))
        .filter(|(_, centre_mhz)| range_mhz.contains(centre_mhz))
        .collect();
    near.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let mut centres_mhz: Vec<f64> = Vec::new();
    // To 1 Hz: several products fall on one frequency of an even raster.
    let same = |a: f64, b: f64| (a - b).abs() < 1e-6;
    for (_, centre_mhz) in near {
        if centres_mhz.len() == PRODUCTS_TOLD {
            break;
        }
        if !centres_mhz.iter().any(|known| same(*known, centre_mhz)) {
            centres_mhz.push(centre_mhz);
        }
    }
    centres_mhz.sort_by(f64::total_cmp);
    centres_mhz
}
