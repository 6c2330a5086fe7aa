//! How far the links may reach, beside how far they were walked.

use goodwire_plugin_sdk::api::{Figure, Note};
use goodwire_plugin_sdk::figures::{info, warning};
use goodwire_plugin_sdk::payload::RadioBudget;
use goodwire_radio::band::Band;
use goodwire_radio::budget::{Budget, Reach};

use crate::chosen::Chosen;
use crate::settings::Settings;
use crate::words::mhz;

/// Figure `reach`, of the highest channel of the plan, for high frequencies reach least; and what
/// has to be known of it.
pub fn of(
    chosen: &Chosen<'_>,
    budget: &RadioBudget,
    walked_m: Option<f64>,
    settings: &Settings,
) -> (Option<Figure>, Note) {
    let bands = chosen.scene.table.bands();
    let planned = chosen.rows.iter().flatten().map(|row| &bands[*row]);
    let highest = planned.map(Band::centre_mhz).max_by(f64::total_cmp);
    let highest = highest.or_else(|| bands.iter().map(Band::centre_mhz).max_by(f64::total_cmp));
    let frequency_mhz = highest.unwrap_or_default();
    let budget = Budget {
        frequency_mhz,
        radiated_dbm: budget.radiated_dbm,
        receive_gain_db: budget.receive_gain_db,
        needed_dbm: budget.needed_dbm,
        body_margin_db: settings.body_margin_db,
        room_spread_db: settings.room_spread_db,
    };
    match budget.reach() {
        Ok(reach) => (Some(figure(&reach)), told(&budget, &reach, walked_m)),
        Err(error) => (
            None,
            warning("no-reach", format!("the link's reach: {error}")),
        ),
    }
}

fn figure(reach: &Reach) -> Figure {
    Figure {
        id: "reach".to_owned(),
        value: Some(reach.distance_m),
        low: Some(reach.distance_m_low),
        high: Some(reach.distance_m_high),
        unit: "m".to_owned(),
        ..Figure::default()
    }
}

fn told(budget: &Budget, reach: &Reach, walked_m: Option<f64>) -> Note {
    let walked = walked_m.map_or_else(
        || "nobody walked it yet: `goodwire walk` tells".to_owned(),
        |walked_m| format!("as last walked it held to {walked_m:.0} m, which counts for more"),
    );
    let text = format!(
        "at {} MHz the margin is gone after {:.0} m of free space (ITU-R P.525), with {:.0} dB set \
         aside for bodies (common practice, no source); in a room where nothing was measured it \
         may be {:.0} to {:.0} m; {walked}",
        mhz(budget.frequency_mhz),
        reach.distance_m,
        budget.body_margin_db,
        reach.distance_m_low,
        reach.distance_m_high,
    );
    info("reach", text)
}
