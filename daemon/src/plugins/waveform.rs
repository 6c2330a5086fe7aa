//! What a plugin plays is checked before it is played.

use super::error::PluginError;

/// How far a sample may stand above the declared peak, in dB: room for the rounding of `f32`,
/// whose relative step of 1.2e-7 is 1e-6 dB.
pub(super) const PEAK_TOLERANCE_DB: f64 = 1e-4;

/// Checks rendered `samples` of the plugin named `plugin` against the peak that its plan declares.
///
/// # Errors
/// `Garbage` where a sample is not finite or stands above `peak_dbfs`; nothing of it may be played.
pub fn check_peak(samples: &[f32], peak_dbfs: f64, plugin: &str) -> Result<(), PluginError> {
    let garbage = |what: String| PluginError::Garbage {
        plugin: plugin.to_owned(),
        what,
    };
    if samples.iter().any(|sample| !sample.is_finite()) {
        return Err(garbage(
            "its stimulus holds a sample that is not a number".into(),
        ));
    }
    let peak = samples
        .iter()
        .fold(0.0_f32, |peak, sample| peak.max(sample.abs()));
    let got_dbfs = 20.0 * f64::from(peak).log10();
    if got_dbfs > peak_dbfs + PEAK_TOLERANCE_DB {
        return Err(garbage(format!(
            "its stimulus peaks at {got_dbfs:.2} dBFS, above the {peak_dbfs:.2} dBFS that its \
             plan declares"
        )));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_peak_of_minus_6_02_dbfs_is_kept_and_0_001_db_more_is_told() {
        let peak_dbfs = 20.0 * 0.5_f64.log10();
        let louder = (0.5 * 10_f64.powf(0.001 / 20.0)) as f32;
        assert_eq!(check_peak(&[0.0, -0.5, 0.5], peak_dbfs, "p"), Ok(()));
        assert_eq!(check_peak(&[], -200.0, "p"), Ok(()));
        assert_eq!(check_peak(&[0.0], -200.0, "p"), Ok(()));
        assert!(check_peak(&[-louder], peak_dbfs, "p").is_err());
    }

    #[test]
    fn samples_that_are_no_numbers_are_told() {
        for sample in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
            assert!(check_peak(&[0.0, sample], 0.0, "p").is_err(), "{sample}");
        }
    }
}
