//! Which parts of the spectrum a picture shows: one panel for each, rather than one empty axis.

use goodwire_proto::v1::ChannelPlan;

/// Bands further apart than this share of their frequency stand in panels of their own: 240 MHz at
/// 2.4 GHz, 50 MHz at 500 MHz.
const APART_SHARE: f64 = 0.1;
/// A panel with channels is at most so many times as wide as they are, or this share of their
/// frequency, whichever is more.
const WIDE_TIMES: f64 = 2.0;
/// See [`WIDE_TIMES`].
const WIDE_SHARE: f64 = 0.05;
/// A panel is at least this share of its frequency wide: 25 MHz at 2.5 GHz.
const NARROW_SHARE: f64 = 0.01;
/// Room at either end of a panel, as a share of what it shows.
const MARGIN_SHARE: f64 = 0.03;

/// A part of the spectrum, in MHz.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Region {
    /// Where its panel begins.
    pub(super) low_mhz: f64,
    /// Where it ends.
    pub(super) high_mhz: f64,
}

impl Region {
    /// True where a part of a band lies in it.
    pub(super) fn meets(&self, low_mhz: f64, high_mhz: f64) -> bool {
        low_mhz < self.high_mhz && self.low_mhz < high_mhz
    }
}

/// The parts of the spectrum in which there is anything, rising.
pub(super) fn of_plan(plan: &ChannelPlan) -> Vec<Region> {
    let ours = ours(plan);
    let parts = whole(plan).into_iter();
    parts
        .map(|part| with_margin(narrowed(part, &ours)))
        .collect()
}

/// The same parts as wide as they are, from edge to edge.
fn whole(plan: &ChannelPlan) -> Vec<(f64, f64)> {
    let ours = ours(plan);
    let air = plan.occupied.iter().map(|one| (one.low_mhz, one.high_mhz));
    let mut bands: Vec<(f64, f64)> = air.chain(ours).collect();
    bands.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut found: Vec<(f64, f64)> = Vec::new();
    for (low, high) in bands {
        match found.last_mut() {
            Some(last) if low - last.1 <= APART_SHARE * low => last.1 = last.1.max(high),
            _ => found.push((low, high)),
        }
    }
    found
}

/// How many occupied bands lie below and above a panel, cut off by its edges: nearer than where
/// another panel would begin.
pub(super) fn cut_off(plan: &ChannelPlan, region: &Region) -> (usize, usize) {
    let whole = whole(plan);
    let part = whole.iter().find(|part| region.meets(part.0, part.1));
    let bands = || {
        plan.occupied
            .iter()
            .filter(|one| part.is_some_and(|part| part.0 <= one.low_mhz && one.high_mhz <= part.1))
    };
    (
        bands().filter(|one| one.high_mhz <= region.low_mhz).count(),
        bands().filter(|one| one.low_mhz >= region.high_mhz).count(),
    )
}

/// Channels and links.
fn ours(plan: &ChannelPlan) -> Vec<(f64, f64)> {
    let channels = plan.channels.iter().map(|one| (one.low_mhz, one.high_mhz));
    let links = plan.links.iter();
    let links = links.filter_map(|one| Some((one.low_mhz?, one.high_mhz?)));
    channels.chain(links).collect()
}

/// A part with channels in it, no wider than lets them be seen: what lies further away is left out.
fn narrowed(part: (f64, f64), ours: &[(f64, f64)]) -> (f64, f64) {
    let inside = || ours.iter().filter(|one| part.0 <= one.0 && one.1 <= part.1);
    let low = inside().map(|one| one.0).fold(f64::INFINITY, f64::min);
    let high = inside().map(|one| one.1).fold(f64::NEG_INFINITY, f64::max);
    let widest = (WIDE_TIMES * (high - low)).max(WIDE_SHARE * low);
    if low > high || part.1 - part.0 <= widest {
        return part;
    }
    let beside = 0.5 * (widest - (high - low));
    (part.0.max(low - beside), part.1.min(high + beside))
}

fn with_margin((low, high): (f64, f64)) -> Region {
    let short = (NARROW_SHARE * low - (high - low)).max(0.0);
    let margin = MARGIN_SHARE * (high - low) + 0.5 * short;
    Region {
        low_mhz: low - margin,
        high_mhz: high + margin,
    }
}

#[cfg(test)]
mod tests {
    use goodwire_proto::v1::{OccupiedBand, RadioChannel};

    use super::*;

    fn plan(channels: &[(f64, f64)], air: &[(f64, f64)]) -> ChannelPlan {
        let channel = |(low_mhz, high_mhz): &(f64, f64)| RadioChannel {
            low_mhz: *low_mhz,
            high_mhz: *high_mhz,
            ..RadioChannel::default()
        };
        let band = |(low_mhz, high_mhz): &(f64, f64)| OccupiedBand {
            low_mhz: *low_mhz,
            high_mhz: *high_mhz,
            ..OccupiedBand::default()
        };
        ChannelPlan {
            channels: channels.iter().map(channel).collect(),
            occupied: air.iter().map(band).collect(),
            ..ChannelPlan::default()
        }
    }

    #[test]
    fn uhf_2_4_and_5_ghz_are_three_panels_and_all_of_5_ghz_is_one() {
        let plan = plan(
            &[(2402.0, 2480.0)],
            &[(5170.0, 5190.0), (5490.0, 5510.0), (470.0, 478.0)],
        );
        let regions = of_plan(&plan);
        assert_eq!(regions.len(), 3);
        assert!(regions[0].meets(470.0, 478.0) && regions[1].meets(2402.0, 2480.0));
        assert!(regions[2].meets(5170.0, 5190.0) && regions[2].meets(5490.0, 5510.0));
        assert!(!regions[2].meets(2402.0, 2480.0));
    }

    #[test]
    fn beside_a_table_of_6_mhz_only_30_mhz_of_224_mhz_of_television_are_shown() {
        // 5 % of 600 MHz are 30 MHz, more than twice 6 MHz; with margins of 3 % at both ends.
        let television: Vec<_> = (0..28)
            .map(|k| (470.0 + 8.0 * f64::from(k), 478.0 + 8.0 * f64::from(k)))
            .collect();
        let regions = of_plan(&plan(&[(600.0, 606.0)], &television));
        let [only] = regions.as_slice() else {
            panic!("{regions:?}");
        };
        assert!(
            (only.high_mhz - only.low_mhz - 30.0 * 1.06).abs() < 1e-9,
            "{only:?}"
        );
        assert!((only.low_mhz + only.high_mhz - 1206.0).abs() < 1e-9);
    }

    #[test]
    fn a_plan_of_nothing_has_no_panel() {
        assert!(of_plan(&ChannelPlan::default()).is_empty());
    }
}
