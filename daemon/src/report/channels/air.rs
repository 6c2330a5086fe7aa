//! What is in the air and no link of ours: where its bars lie in a panel.

use goodwire_proto::v1::{ChannelPlan, OccupiedBand};

use super::{
    panel::{BESIDE_PX, LENGTH_PX},
    region::Region,
    rows,
    text::{self, SIZE_PX},
};
use crate::report::plot::Axis;

/// So many rows of bars have names; what does not fit into them shares one more without.
const ROWS: usize = 10;
/// Least distance between two bars in a row, and between their texts.
const GAP_PX: f64 = 8.0;
/// Widest name of a bar.
const NAME_PX: f64 = 300.0;

/// Somebody else's transmission.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Bar {
    /// Its edges, cut at the ends of the panel.
    pub(super) edges_px: (f64, f64),
    /// Whether it goes on beyond the left and the right end.
    pub(super) goes_on: (bool, bool),
    /// Its row; 0 is the highest.
    pub(super) row: usize,
    /// Its name, and where the middle of that is; empty where there is no room.
    pub(super) text: String,
    /// See `text`.
    pub(super) middle_px: f64,
}

/// The bars of a panel, and how many bands lie below and above it within the same part of the
/// spectrum, which its edges cut off.
pub(super) fn of_region(
    plan: &ChannelPlan,
    region: &Region,
    axis: &Axis,
) -> (Vec<Bar>, (usize, usize)) {
    let bands = merged(&plan.occupied);
    let inside = bands
        .iter()
        .filter(|(one, _)| region.meets(one.low_mhz, one.high_mhz));
    let mut bars: Vec<Bar> = inside.map(|(band, name)| bar(band, name, axis)).collect();
    let spans: Vec<(f64, f64)> = bars.iter().map(Bar::span).collect();
    // The texts begin further left than their bars: the order is theirs.
    let mut order: Vec<usize> = (0..bars.len()).collect();
    order.sort_by(|a, b| spans[*a].0.total_cmp(&spans[*b].0));
    let sorted: Vec<(f64, f64)> = order.iter().map(|index| spans[*index]).collect();
    for (index, row) in order.into_iter().zip(rows::packed(&sorted, GAP_PX)) {
        bars[index].row = row.min(ROWS);
        if row >= ROWS {
            bars[index].text.clear();
        }
    }
    (bars, super::region::cut_off(plan, region))
}

fn bar(band: &OccupiedBand, name: &str, axis: &Axis) -> Bar {
    let (low, high) = (axis.px(band.low_mhz), axis.px(band.high_mhz));
    let edges_px = (low.max(0.0), high.min(LENGTH_PX));
    let text = text::shortened(name, SIZE_PX, NAME_PX);
    let half = 0.5 * text::width_px(&text, SIZE_PX);
    let middle = 0.5 * (edges_px.0 + edges_px.1);
    Bar {
        edges_px,
        goes_on: (low < 0.0, high > LENGTH_PX),
        row: 0,
        middle_px: middle.clamp(half + 2.0, LENGTH_PX + BESIDE_PX - half - 4.0),
        text,
    }
}

impl Bar {
    /// From where to where it takes room, its text counted.
    fn span(&self) -> (f64, f64) {
        let half = 0.5 * text::width_px(&self.text, SIZE_PX);
        (
            self.edges_px.0.min(self.middle_px - half),
            self.edges_px.1.max(self.middle_px + half),
        )
    }
}

/// Bands with equal edges are drawn once; with the text that says what they are.
fn merged(bands: &[OccupiedBand]) -> Vec<(OccupiedBand, String)> {
    let mut groups: Vec<Vec<&OccupiedBand>> = Vec::new();
    for band in bands {
        let is_same = |group: &&mut Vec<&OccupiedBand>| {
            (group[0].low_mhz, group[0].high_mhz) == (band.low_mhz, band.high_mhz)
        };
        match groups.iter_mut().find(is_same) {
            Some(group) => group.push(band),
            None => groups.push(vec![band]),
        }
    }
    let groups = groups.into_iter();
    groups
        .map(|group| (group[0].clone(), name(&group)))
        .collect()
}

/// `Wi-Fi channel 6, 20 MHz, -52 dBm`, `office, and 2 more`.
fn name(group: &[&OccupiedBand]) -> String {
    let name = &group[0].name;
    let levels = group.iter().filter_map(|one| one.level_dbm);
    let loudest = levels.reduce(f64::max);
    let level = loudest.map_or(String::new(), |dbm| format!(", {dbm:.0} dBm"));
    let more = match group.len() - 1 {
        0 => String::new(),
        more if group.iter().all(|one| one.name == *name) => format!(", {} times", more + 1),
        more => format!(", and {more} more"),
    };
    format!("{name}{more}{level}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_networks_on_channel_6_are_one_bar_with_the_loudest_level() {
        let band = |name: &str, level_dbm| OccupiedBand {
            name: name.into(),
            low_mhz: 2427.0,
            high_mhz: 2447.0,
            level_dbm,
            ..OccupiedBand::default()
        };
        let same = [
            band("a", Some(-70.0)),
            band("a", Some(-52.4)),
            band("a", None),
        ];
        assert_eq!(merged(&same)[0].1, "a, 3 times, -52 dBm");
        let others = [band("a", None), band("b", None)];
        assert_eq!(merged(&others)[0].1, "a, and 1 more");
    }
}
