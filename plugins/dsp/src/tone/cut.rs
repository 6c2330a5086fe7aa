//! Tells a tone that a recorder cut at its full scale.

/// A sample this near to full scale may have been cut there.
const FULL_SCALE: f32 = 0.999;

/// A recording with samples beyond this is not cut at full scale: its numbers go further.
const BEYOND_FULL_SCALE: f32 = 1.001;

/// Share of samples near full scale that tells a cut tone from one that just reaches it: of a sine
/// of peak 1, `2 acos(0.999) / pi = 2.9 %` lie above 0.999; of one overdriven by 0.03 dB, 5 %.
const CUT_SHARE: f64 = 0.05;

/// The same of two sines that add up to a peak of 1: their phases have to meet, which they do near
/// enough for 0.999 in at most `0.002 / (pi sqrt(p1 p2))`, 0.16 % for peaks of 4 to 1; of such an
/// overdriven by 0.1 dB, 1 %.
const CUT_SHARE_OF_TWO: f64 = 0.005;

/// True where the wave of a steady tone is flat at full scale, 1: its harmonics are the recorder's.
///
/// What a link cuts below full scale is none of this. Silence, an empty slice and NaN give false.
#[must_use]
pub fn is_cut_at_full_scale(samples: &[f32]) -> bool {
    share_at_full_scale(samples) > CUT_SHARE
}

/// The same of two tones at once, whose crests meet full scale but rarely.
#[must_use]
pub fn are_two_cut_at_full_scale(samples: &[f32]) -> bool {
    share_at_full_scale(samples) > CUT_SHARE_OF_TWO
}

/// Share of samples near full scale; 0 where some lie beyond it.
fn share_at_full_scale(samples: &[f32]) -> f64 {
    let near = samples.iter().filter(|x| x.abs() >= FULL_SCALE).count();
    let beyond = samples.iter().any(|x| x.abs() > BEYOND_FULL_SCALE);
    if beyond {
        return 0.0;
    }
    near as f64 / samples.len().max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sine(peak: f64, cut: f64) -> Vec<f32> {
        (0..9_600)
            .map(|n| std::f64::consts::TAU * 0.020_77 * f64::from(n))
            .map(|phase| (peak * phase.sin()).clamp(-cut, cut) as f32)
            .collect()
    }

    #[test]
    fn tone_of_0_dbfs_is_not_cut_and_one_of_0_1_db_more_is() {
        assert!(!is_cut_at_full_scale(&sine(1.0, 1.0)));
        assert!(is_cut_at_full_scale(&sine(1.0116, 1.0)));
        assert!(is_cut_at_full_scale(&sine(1.0116, 32_767.0 / 32_768.0)));
        assert!(
            !is_cut_at_full_scale(&sine(1.0116, 0.9)),
            "the link's own clipping"
        );
        assert!(
            !is_cut_at_full_scale(&sine(1.0116, 2.0)),
            "numbers beyond full scale"
        );
        assert!(!is_cut_at_full_scale(&[]));
    }
}
