//! Decibels at the edges: everything between is linear.

/// Decibels per neper, `20 / ln 10`: a relative error of one amplitude in dB.
pub const DB_PER_NEPER: f64 = 8.685_889_638_065_037;

/// Amplitude ratio of a level: `10^(db / 20)`. NaN gives NaN.
#[must_use]
pub fn amplitude(db: f64) -> f64 {
    10f64.powf(db / 20.0)
}

/// Level in dB of an amplitude ratio: `20 lg |ratio|`. 0 gives minus infinity, NaN gives NaN.
#[must_use]
pub fn db(ratio: f64) -> f64 {
    20.0 * ratio.abs().log10()
}

/// Level in dB of a power ratio: `10 lg ratio`. 0 gives minus infinity, below 0 NaN.
#[must_use]
pub fn power_db(ratio: f64) -> f64 {
    10.0 * ratio.log10()
}
