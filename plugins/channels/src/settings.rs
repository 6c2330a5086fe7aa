//! What can be set.

use goodwire_plugin_sdk::api::Parameter;
use goodwire_plugin_sdk::parameters::{Narrow, Parameters, number, switch, whole};
use goodwire_plugin_sdk::payload::OpenRequest;
use goodwire_radio::budget::{BODY_MARGIN_DB_USUAL, ROOM_SPREAD_DB};
use goodwire_radio::plan::{LINK_COUNT_MAX, Rules};
use goodwire_radio::products::Extent;

/// What is surveyed below this is left out, in dBm: by then it is some 10 dB above the noise of a
/// receiver 20 MHz wide (common practice, no source).
const THRESHOLD_DBM: f64 = -90.0;

/// Steps that each search may take: some seconds altogether, and not the minute that the daemon
/// waits on a machine a tenth as fast.
const STEP_COUNT_MAX: u64 = 100_000_000;

/// Settings of one plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Links with the table in all; 0: those of the configuration.
    pub link_count: usize,
    /// Links that are set to a channel stay there.
    pub keeps: bool,
    /// What counts as clean.
    pub rules: Rules,
    /// What is surveyed below this is left out, in dBm.
    pub threshold_dbm: f64,
    /// What is set aside for bodies in the way, in dB.
    pub body_margin_db: f64,
    /// Standard uncertainty of the loss in the room, in dB.
    pub room_spread_db: f64,
}

/// The parameters of the analysis.
pub fn declared() -> Vec<Parameter> {
    let rules = Rules::default();
    let link_count = "Links to plan for in all, those of the configuration with this table among \
                      them; 0: just those.";
    let keep = "Links that their setup says are set to a channel stay there, and the others are \
                planned round them.";
    let clearance = "Least separation of a clean channel from what is occupied.";
    let guard = "Least gap between a third-order product and the edge of a channel.";
    let whole_products = "The gap counts from the whole band that a product fills, and not from \
                          its centre alone.";
    let threshold = "What was surveyed below this level is left out.";
    let bodies = "What is set aside for bodies between the aerials (common practice, no source).";
    let spread = "Standard uncertainty of the loss in a room where nothing was measured.";
    let count_max = LINK_COUNT_MAX as f64;
    vec![
        whole("link_count", 0, link_count).within(0.0, count_max),
        switch("keep", false, keep),
        number("clearance_mhz", "MHz", rules.clearance_mhz, clearance).within(0.0, 1_000.0),
        number("guard_mhz", "MHz", rules.guard_mhz, guard).within(0.0, 100.0),
        switch("whole_products", false, whole_products),
        number("threshold_dbm", "dBm", THRESHOLD_DBM, threshold).within(-200.0, 100.0),
        number("body_margin_db", "dB", BODY_MARGIN_DB_USUAL, bodies).within(0.0, 60.0),
        number("room_spread_db", "dB", ROOM_SPREAD_DB, spread).within(0.1, 40.0),
    ]
}

impl Settings {
    /// Reads them from a request whose parameters are within their bounds.
    pub fn read(request: &OpenRequest) -> Self {
        let read = Parameters::of(request);
        let extent = match read.switch("whole_products") {
            true => Extent::Whole,
            false => Extent::Centre,
        };
        Self {
            link_count: read.whole("link_count"),
            keeps: read.switch("keep"),
            rules: Rules {
                clearance_mhz: read.number("clearance_mhz"),
                guard_mhz: read.number("guard_mhz"),
                extent,
                step_count_max: STEP_COUNT_MAX,
            },
            threshold_dbm: read.number("threshold_dbm"),
            body_margin_db: read.number("body_margin_db"),
            room_spread_db: read.number("room_spread_db"),
        }
    }
}
