//! How each channel of the table stands.

use goodwire_plugin_sdk::api::Figure;
use goodwire_plugin_sdk::figures::Located;
use goodwire_radio::band::Band;
use goodwire_radio::rank::{Standing, standings};

use crate::air::Air;
use crate::chosen::{Carrier, Chosen};
use crate::settings::Settings;

/// The figures of every channel, in the order of the table. What cannot be had is left out.
pub fn all(chosen: &Chosen<'_>, air: &Air, settings: &Settings) -> Vec<Figure> {
    let carriers = chosen.carriers();
    let bands: Vec<Band> = carriers.iter().map(|carrier| carrier.band).collect();
    let (table, extent) = (&chosen.scene.table, settings.rules.extent);
    let standings = standings(table, &chosen.occupied, &bands, extent);
    let is_known = air.is_known || !chosen.scene.others.is_empty();
    let channels = table.channels().iter().zip(&standings).enumerate();
    channels
        .flat_map(|(row, (channel, standing))| {
            let overlap_percent = is_known.then_some(standing.overlap_percent);
            let Standing { rank, .. } = *standing;
            let figures = [
                ("separation", standing.separation_mhz, "MHz"),
                ("overlap", overlap_percent, "%"),
                ("link_gap", link_gap_mhz(chosen, &carriers, row), "MHz"),
                (
                    "intermodulation_gap",
                    standing.intermodulation_gap_mhz,
                    "MHz",
                ),
                ("rank", Some(rank as f64), ""),
            ];
            figures.map(|(id, value, unit)| Some(figure(id, value?, unit, &channel.name)))
        })
        .flatten()
        .collect()
}

/// A number without an uncertainty: it follows from the table and what was said to be in the air.
fn figure(id: &str, value: f64, unit: &str, channel: &str) -> Figure {
    let figure = Figure {
        id: id.to_owned(),
        value: Some(value),
        unit: unit.to_owned(),
        ..Figure::default()
    };
    figure.at_name("channel", channel)
}

/// MHz from a row to the nearest link but the one that is on it, edge to edge, negative where they
/// overlap; `None` where there is no other.
fn link_gap_mhz(chosen: &Chosen<'_>, carriers: &[Carrier], row: usize) -> Option<f64> {
    let channel = &chosen.scene.table.channels()[row];
    let mut bands: Vec<Band> = carriers.iter().map(|carrier| carrier.band).collect();
    if chosen.rows.contains(&Some(row)) {
        let own = bands.iter().position(|band| *band == channel.band)?;
        bands.remove(own);
    }
    let gaps = bands.iter().map(|band| channel.band.gap_mhz(band));
    gaps.min_by(f64::total_cmp)
}
