//! What the crate claims, each held against a published formula or a hand calculation.

mod band;
mod brute_force;
mod budget;
mod occupied;
mod plan;
mod products;
mod ruler;
mod survey;
mod table;
mod units;

use goodwire_radio::band::Band;

/// The band of `width_mhz` around `centre_mhz`.
fn around(centre_mhz: f64, width_mhz: f64) -> Band {
    Band::around(centre_mhz, width_mhz).unwrap()
}

/// The band from `low_mhz` to `high_mhz`.
fn edges(low_mhz: f64, high_mhz: f64) -> Band {
    Band::from_edges(low_mhz, high_mhz).unwrap()
}

/// Fails unless two MHz values agree within 1 Hz, what the crate takes as touching.
#[track_caller]
fn assert_mhz(got_mhz: f64, want_mhz: f64, what: &str) {
    assert!(
        (got_mhz - want_mhz).abs() < 1e-6,
        "{what}: got {got_mhz} MHz, want {want_mhz} MHz"
    );
}
