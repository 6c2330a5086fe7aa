//! `[interface.simulated]`, its sends and returns, and `[link.simulated]`.
//!
//! The keys are the names of the settings' fields. A level that is absent has its default;
//! `-inf` says that there is nothing of it.

use super::section::{CHANNEL_MAX, Section};
use crate::simulated::settings::{
    DropoutKind, LinkSettings, PathSettings, RigSettings, SHORTEST_MS,
};

/// What a walk looks like.
const WALK: &str =
    "a list of [seconds, metres], none below 0, each later than the one before: [[0, 1], [60, 20]]";

/// What a list of dropouts looks like.
const DROPOUTS: &str = "a list of [seconds, milliseconds], none shorter than 2 ms, each beginning \
                        after the one before has ended: [[12.5, 30], [60, 2]]";
/// What a list of moments looks like.
const MOMENTS: &str = "a list of seconds, each later than the one before: [12.5, 60]";

/// Reads the settings of the simulated interface as a whole.
pub(super) fn read_rig(section: &Section<'_>) -> RigSettings {
    let default = RigSettings::default();
    RigSettings {
        seed: section
            .whole("seed", 0..=i64::MAX.unsigned_abs())
            .unwrap_or(default.seed),
        vanish_at_s: section.number_or("vanish_at_s", 0.0..=1e9, default.vanish_at_s),
        vanish_for_s: section.number_or("vanish_for_s", 0.0..=1e9, default.vanish_for_s),
        xrun_every_s: section.number_or("xrun_every_s", 0.0..=1e9, default.xrun_every_s),
        xrun_frames: section
            .whole("xrun_frames", 1..=1_000_000)
            .unwrap_or(default.xrun_frames),
        xruns_at_s: read_moments(section, "xruns_at_s").unwrap_or(default.xruns_at_s),
        programme_dbfs: section.level_or("programme_dbfs", default.programme_dbfs),
    }
}

/// Reads the settings of one send or return.
pub(super) fn read_path(section: &Section<'_>, rate_hz: u32) -> PathSettings {
    let default = PathSettings::default();
    let corner_hz = 0.0..=highest_corner_hz(rate_hz);
    PathSettings {
        gain_db: section.number_or("gain_db", -120.0..=60.0, default.gain_db),
        low_corner_hz: section.number_or("low_corner_hz", corner_hz.clone(), default.low_corner_hz),
        high_corner_hz: section.number_or("high_corner_hz", corner_hz, default.high_corner_hz),
        noise_dbfs: section.level_or("noise_dbfs", default.noise_dbfs),
    }
}

/// Reads the settings of one link.
pub(super) fn read_link(section: &Section<'_>, rate_hz: u32) -> LinkSettings {
    let default = LinkSettings::default();
    let corner_hz = 0.0..=highest_corner_hz(rate_hz);
    let order = section
        .whole("filter_order", 1..=8)
        .and_then(|n| usize::try_from(n).ok());
    let kind = section.choice("dropout_kind", &["mute", "ramp", "repeat"]);
    let number = |key, range, default| section.number_or(key, range, default);
    LinkSettings {
        gain_db: number("gain_db", -120.0..=60.0, default.gain_db),
        delay_ms: number("delay_ms", 0.0..=10_000.0, default.delay_ms),
        inverted: section.switch("inverted").unwrap_or(default.inverted),
        low_corner_hz: number("low_corner_hz", corner_hz.clone(), default.low_corner_hz),
        high_corner_hz: number("high_corner_hz", corner_hz, default.high_corner_hz),
        filter_order: order.unwrap_or(default.filter_order),
        noise_dbfs: section.level_or("noise_dbfs", default.noise_dbfs),
        hum_dbfs: section.level_or("hum_dbfs", default.hum_dbfs),
        hum_hz: number("hum_hz", 1.0..=1_000.0, default.hum_hz),
        polynomial: section
            .numbers("polynomial", -10.0..=10.0)
            .unwrap_or(default.polynomial),
        hard_clip_dbfs: section.level_or("hard_clip_dbfs", default.hard_clip_dbfs),
        soft_clip_dbfs: section.level_or("soft_clip_dbfs", default.soft_clip_dbfs),
        resync_jitter_ms: number("resync_jitter_ms", 0.0..=1_000.0, default.resync_jitter_ms),
        resync_every_s: number("resync_every_s", 0.0..=1e9, default.resync_every_s),
        skew_ppm: number("skew_ppm", -10_000.0..=10_000.0, default.skew_ppm),
        idle_below_dbfs: section.level_or("idle_below_dbfs", default.idle_below_dbfs),
        idle_after_s: number("idle_after_s", 0.0..=1e6, default.idle_after_s),
        wake_s: number("wake_s", 0.0..=600.0, default.wake_s),
        dropouts_per_minute: number("dropouts_per_minute", 0.0..=6_000.0, 0.0),
        dropout_ms: number("dropout_ms", 2.0..=600_000.0, default.dropout_ms),
        dropout_kind: match kind {
            Some("ramp") => DropoutKind::Ramp,
            Some("repeat") => DropoutKind::Repeat,
            Some(_) => DropoutKind::Mute,
            None => default.dropout_kind,
        },
        dropouts_at: read_dropouts(section).unwrap_or(default.dropouts_at),
        sway_db: number("sway_db", 0.0..=20.0, default.sway_db),
        sway_s: number("sway_s", 1.0..=1e6, default.sway_s),
        runs_for_s: number("runs_for_s", 0.0..=1e9, default.runs_for_s),
        walk: read_walk(section).unwrap_or(default.walk),
        holds_to_m: number("holds_to_m", 0.1..=100_000.0, default.holds_to_m),
        fed_by: read_plug(section, "fed_by"),
        heard_at: read_plug(section, "heard_at"),
        hears: section
            .text("hears", "the name of another link")
            .unwrap_or_default()
            .to_owned(),
        hears_db: number("hears_db", -120.0..=100.0, default.hears_db),
    }
}

/// A send or return by its number, or 0 for none.
fn read_plug(section: &Section<'_>, key: &'static str) -> Option<usize> {
    let number = section.whole(key, 0..=CHANNEL_MAX)?;
    usize::try_from(number).ok()
}

/// Seconds with metres, in order of time.
fn read_walk(section: &Section<'_>) -> Option<Vec<(f64, f64)>> {
    let walk = section.pairs("walk", WALK, 0.0..=1e9)?;
    if !walk.is_sorted_by(|(before_s, _), (after_s, _)| before_s < after_s) {
        section.wrong("walk", "`walk` goes back in time", WALK);
        return None;
    }
    Some(walk)
}

/// Seconds with milliseconds, in order of time, apart from each other.
fn read_dropouts(section: &Section<'_>) -> Option<Vec<(f64, f64)>> {
    let dropouts = section.pairs("dropouts_at", DROPOUTS, 0.0..=1e9)?;
    let are_apart = dropouts.is_sorted_by(|(before_s, before_ms), (after_s, _)| {
        before_s + before_ms / 1000.0 < *after_s
    });
    if !are_apart {
        section.wrong("dropouts_at", "`dropouts_at` overlap", DROPOUTS);
        return None;
    }
    if dropouts.iter().any(|(_, ms)| *ms < SHORTEST_MS) {
        section.wrong("dropouts_at", "one of `dropouts_at` is too short", DROPOUTS);
        return None;
    }
    Some(dropouts)
}

/// Seconds in order of time.
fn read_moments(section: &Section<'_>, key: &'static str) -> Option<Vec<f64>> {
    let moments = section.numbers(key, 0.0..=1e9)?;
    if !moments.is_sorted_by(|before, after| before < after) {
        section.wrong(key, format!("`{key}` goes back in time"), MOMENTS);
        return None;
    }
    Some(moments)
}

/// A corner has to lie below half the rate; so near to it a filter is nothing but its own error.
fn highest_corner_hz(rate_hz: u32) -> f64 {
    (0.49 * f64::from(rate_hz)).floor()
}
