//! A channel plan of a plugin, checked.

use goodwire_proto::v1::{ChannelPlan, channel_plan::Certainty};

use super::{Wrong, check_count, check_text};

/// Most channels of a table, and most links of a plan with all other tables' links.
const CHANNEL_COUNT_MAX: usize = 1_000;
/// Most occupied bands, products or flaws.
const BAND_COUNT_MAX: usize = 10_000;

/// Checks a plan: bands that exist, and links on channels of the table alone, but for those that
/// stay where they are.
pub(super) fn check(plan: &ChannelPlan) -> Result<(), Wrong> {
    check_count("channels", plan.channels.len(), CHANNEL_COUNT_MAX)?;
    check_count("planned links", plan.links.len(), CHANNEL_COUNT_MAX)?;
    check_count("occupied bands", plan.occupied.len(), BAND_COUNT_MAX)?;
    check_count("products", plan.product_mhz.len(), BAND_COUNT_MAX)?;
    check_count("flaws", plan.flaws.len(), BAND_COUNT_MAX)?;
    let channels = plan
        .channels
        .iter()
        .map(|one| (&one.name, one.low_mhz, one.high_mhz));
    let occupied = plan
        .occupied
        .iter()
        .map(|one| (&one.name, one.low_mhz, one.high_mhz));
    for (name, low_mhz, high_mhz) in channels.chain(occupied) {
        check_text(name)?;
        check_band(low_mhz, high_mhz)?;
    }
    for link in plan.links.iter().filter(|link| !link.channel.is_empty()) {
        check_text(&link.channel)?;
        let (Some(low_mhz), Some(high_mhz)) = (link.low_mhz, link.high_mhz) else {
            return Err("its channel plan has a link on a channel that is nowhere".into());
        };
        check_band(low_mhz, high_mhz)?;
        let is_known = plan
            .channels
            .iter()
            .any(|channel| channel.name == link.channel);
        if !link.is_fixed && !is_known {
            let channel: String = link.channel.chars().take(40).collect();
            return Err(format!(
                "its channel plan proposes {channel:?}, which the table has not"
            ));
        }
    }
    plan.flaws.iter().try_for_each(|flaw| check_text(flaw))?;
    let levels = plan.occupied.iter().filter_map(|one| one.level_dbm);
    let numbers = plan
        .product_mhz
        .iter()
        .copied()
        .chain(levels)
        .chain(plan.separation_mhz_least);
    if numbers.into_iter().any(|number| !number.is_finite()) {
        return Err("its channel plan holds a number that is not finite".into());
    }
    if plan.certainty() == Certainty::Unspecified
        || plan.fitting_certainty() == Certainty::Unspecified
    {
        return Err("its channel plan does not say how sure it is".into());
    }
    Ok(())
}

fn check_band(low_mhz: f64, high_mhz: f64) -> Result<(), Wrong> {
    if low_mhz.is_finite() && high_mhz.is_finite() && 0.0 < low_mhz && low_mhz < high_mhz {
        return Ok(());
    }
    Err(format!(
        "its channel plan has a band from {low_mhz} to {high_mhz} MHz"
    ))
}

#[cfg(test)]
mod tests {
    use goodwire_proto::v1::{OccupiedBand, PlannedLink, RadioChannel};

    use super::*;

    fn plan() -> ChannelPlan {
        let mut plan = ChannelPlan {
            channels: vec![RadioChannel {
                name: "A".into(),
                low_mhz: 2_423.0,
                high_mhz: 2_425.0,
            }],
            links: vec![PlannedLink {
                link: "links/lectern".into(),
                channel: "A".into(),
                low_mhz: Some(2_423.0),
                high_mhz: Some(2_425.0),
                ..PlannedLink::default()
            }],
            occupied: vec![OccupiedBand {
                low_mhz: 2_402.0,
                high_mhz: 2_422.0,
                ..OccupiedBand::default()
            }],
            ..ChannelPlan::default()
        };
        plan.set_certainty(Certainty::Exact);
        plan.set_fitting_certainty(Certainty::Heuristic);
        plan
    }

    fn wrong(change: impl FnOnce(&mut ChannelPlan)) -> String {
        let mut plan = plan();
        change(&mut plan);
        check(&plan).unwrap_err()
    }

    #[test]
    fn a_plan_on_the_table_passes_and_a_channel_outside_of_it_is_told() {
        assert_eq!(check(&plan()), Ok(()));
        assert!(wrong(|plan| plan.links[0].channel = "B".into()).contains("\"B\""));
        let mut other_table = plan();
        other_table.links[0].channel = "B".into();
        other_table.links[0].is_fixed = true;
        assert_eq!(check(&other_table), Ok(()));
    }

    #[test]
    fn bands_without_width_numbers_that_are_none_and_silence_about_certainty_are_told() {
        assert!(wrong(|plan| plan.channels[0].high_mhz = 2_423.0).contains("band"));
        assert!(wrong(|plan| plan.occupied[0].low_mhz = f64::NAN).contains("band"));
        assert!(wrong(|plan| plan.links[0].low_mhz = None).contains("nowhere"));
        assert!(wrong(|plan| plan.product_mhz.push(f64::INFINITY)).contains("finite"));
        assert!(wrong(|plan| plan.certainty = 0).contains("sure"));
    }
}
