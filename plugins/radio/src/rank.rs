//! How each channel of a table stands, whether it was chosen or not.

use crate::band::{Band, Occupancy};
use crate::products::{Extent, intermodulation_gap_mhz, third_order};
use crate::table::Table;

/// The figures of one channel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Standing {
    /// MHz to the nearest occupied band, negative inside; `None` when nothing is occupied.
    pub separation_mhz: Option<f64>,
    /// Share of the channel that is occupied, 0 to 100 %.
    pub overlap_percent: f64,
    /// MHz to the nearest third-order product, negative inside; `None` when there is none.
    pub intermodulation_gap_mhz: Option<f64>,
    /// Place among the channels, from 1; equals share one, and the next is left out.
    pub rank: usize,
}

/// The figures of every channel of `table`, in its order, beside `carriers` that are in use or
/// planned.
///
/// Ranked first are channels that are neither occupied nor hit by a product; among them and among
/// the others the greater separation, then the greater gap, each to 1 Hz.
#[must_use]
pub fn standings(
    table: &Table,
    occupied: &Occupancy,
    carriers: &[Band],
    extent: Extent,
) -> Vec<Standing> {
    let products = third_order(carriers);
    let mut standings: Vec<Standing> = table
        .bands()
        .iter()
        .map(|band| Standing {
            separation_mhz: occupied.separation_mhz(band),
            overlap_percent: occupied.overlap_percent(band),
            intermodulation_gap_mhz: intermodulation_gap_mhz(band, &products, extent),
            rank: 0,
        })
        .collect();
    let merits: Vec<_> = standings.iter().map(merit).collect();
    for (standing, own) in standings.iter_mut().zip(&merits) {
        standing.rank = 1 + merits.iter().filter(|&other| other > own).count();
    }
    standings
}

/// What a channel is ranked by: whether it is clean, then the separation and the gap in Hz. Whole
/// Hz, so that two which differ by a rounding share their rank.
fn merit(standing: &Standing) -> (bool, i64, i64) {
    let whole_hz = |mhz: Option<f64>| mhz.map_or(i64::MAX, |mhz| (mhz * 1e6).round() as i64);
    let separation_hz = whole_hz(standing.separation_mhz);
    let gap_hz = whole_hz(standing.intermodulation_gap_mhz);
    (separation_hz >= 0 && gap_hz >= 0, separation_hz, gap_hz)
}
