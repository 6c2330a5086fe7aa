//! Permission to play: ceilings, presence, hold, permit, the quiet room, and what is expected of
//! returns.

mod permit;

use crate::{
    audio::performance::QuietRule, config::SafetyConfig, measure::job::Ending, store::Store,
};

pub use permit::{permit_now, permit_text};

/// Seconds of quiet before anything is played.
const QUIET_S: f64 = 2.0;
/// A level that stays within so many dB is hiss or hum, not programme.
const STEADY_DB: f64 = 6.0;
/// Gain that is assumed of a link that was never measured, in dB.
const UNKNOWN_GAIN_DB: f64 = 20.0;
/// A default level lies so far below the link's last clip point, in dB.
pub const CLIP_MARGIN_DB: f64 = 20.0;

/// The rule for the room before playing.
#[must_use]
pub fn quiet_rule(safety: &SafetyConfig) -> QuietRule {
    QuietRule {
        duration_s: QUIET_S,
        limit_dbfs: safety.quiet_dbfs,
        steady_db: STEADY_DB,
    }
}

/// Highest peak that is expected at a return, in dBFS: the louder of the quiet room and what is
/// sent with the link's last gain.
#[must_use]
pub fn expected_dbfs(quiet_dbfs: f64, sent_dbfs: f64, gain_db: Option<f64>) -> f64 {
    quiet_dbfs.max(sent_dbfs + gain_db.unwrap_or(UNKNOWN_GAIN_DB))
}

/// Gain of a link as last measured in dB, on the simulated rig or on real hardware.
#[must_use]
pub fn last_gain_db(store: &Store, link: &str, simulated: bool) -> Option<f64> {
    let of = |analysis: &str| {
        store
            .last_figure(link, analysis, "gain", simulated)
            .ok()
            .flatten()
    };
    of("level").or_else(|| of("response"))
}

/// Clip point of a link as last measured, in dBFS at its send; on the simulated rig or on real
/// hardware.
#[must_use]
pub fn last_clip_point_dbfs(store: &Store, link: &str, simulated: bool) -> Option<f64> {
    store
        .last_figure(link, "level", "clip_point", simulated)
        .ok()
        .flatten()
}

/// Refuses to play during a hold.
///
/// # Errors
/// `hold`, with its reason; also where the store cannot say, because then a hold may stand.
pub fn not_held(store: &Store) -> Result<(), Ending> {
    match store.hold() {
        Ok(None) => Ok(()),
        Ok(Some(hold)) => Err(Ending::failed("hold", hold_text(&hold.text))),
        Err(error) => Err(Ending::failed(
            "hold",
            format!("whether a hold stands cannot be read: {error}"),
        )),
    }
}

/// The sentence that a hold refuses with.
#[must_use]
pub fn hold_text(reason: &str) -> String {
    let why = if reason.is_empty() {
        String::new()
    } else {
        format!(" ({reason})")
    };
    format!("a hold is set{why}: nothing is played until `release`")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_link_of_unknown_gain_may_answer_20_db_above_what_is_sent() {
        assert_eq!(expected_dbfs(-90.0, -40.0, None), -20.0);
    }

    #[test]
    fn a_quiet_link_in_a_humming_room_may_answer_as_loud_as_the_hum() {
        assert_eq!(expected_dbfs(-30.0, -40.0, Some(-10.0)), -30.0);
    }
}
