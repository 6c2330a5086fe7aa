//! What is wrong with a recording before anything is looked for in it.

/// Peak below which a recording counts as silent: -120 dBFS.
pub const SILENT_PEAK: f64 = 1e-6;

/// Index of the first sample that is not a finite number.
#[must_use]
pub fn first_not_finite(samples: &[f32]) -> Option<usize> {
    samples.iter().position(|sample| !sample.is_finite())
}

/// Largest absolute sample; 0 for an empty slice, NaN is passed over.
#[must_use]
pub fn peak(samples: &[f32]) -> f64 {
    f64::from(samples.iter().fold(0f32, |peak, x| peak.max(x.abs())))
}

/// Root of the mean square; 0 for an empty slice.
#[must_use]
pub fn rms(samples: &[f32]) -> f64 {
    let power: f64 = samples.iter().map(|&x| f64::from(x).powi(2)).sum();
    (power / samples.len().max(1) as f64).sqrt()
}

/// Number of flat tops: places where the wave was cut off at its largest or its least value.
///
/// A flat top is a run of at least three samples at the extreme that is left steeply. A wave
/// that is merely rounded to steps of `q` stays at its crest for `m` samples within one step; a
/// further `m` samples on, such a parabola has fallen by 8 steps. A wave cut below its crest
/// falls by far more. Runs are counted where the fall exceeds 20 steps and 0.1 % of the extreme.
/// Valid for every rate and level; silence gives 0. Own derivation, common practice, no source.
#[must_use]
pub fn flat_top_count(samples: &[f32]) -> usize {
    let highest = samples.iter().copied().fold(0f32, f32::max);
    let lowest = samples.iter().copied().fold(0f32, f32::min);
    let step = smallest_step(samples);
    flat_tops_at(samples, highest, 1.0, step) + flat_tops_at(samples, lowest, -1.0, step)
}

/// Flat tops at `extreme`, whose sign is `sign`.
fn flat_tops_at(samples: &[f32], extreme: f32, sign: f32, step: f32) -> usize {
    // Two roundings of f32 away from the extreme still counts as equal.
    let level = extreme.abs() * (1.0 - 2.0 * f32::EPSILON);
    if level == 0.0 {
        return 0;
    }
    let fall_min = (20.0 * step).max(1e-3 * level);
    let (mut count, mut start) = (0, None);
    for (index, &sample) in samples.iter().enumerate() {
        let at_extreme = sample * sign >= level;
        match (at_extreme, start) {
            (true, None) => start = Some(index),
            (false, Some(first)) => {
                let run = index - first;
                let later = samples.get(index + run - 1).copied().unwrap_or(0.0);
                let before = first
                    .checked_sub(run)
                    .map_or(0.0, |earlier| samples[earlier]);
                let fall = (level - later * sign).min(level - before * sign);
                count += usize::from(run >= 3 && fall > fall_min);
                start = None;
            }
            _ => {}
        }
    }
    count
}

/// Smallest step between different neighbours: the step of the quantiser, where there was one.
fn smallest_step(samples: &[f32]) -> f32 {
    samples
        .windows(2)
        .map(|pair| (pair[1] - pair[0]).abs())
        .filter(|&step| step > 0.0)
        .fold(f32::INFINITY, f32::min)
        .min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stimulus::Body;
    use crate::sweep::Sweep;

    fn sweep(amplitude: f64) -> Vec<f32> {
        let sweep = Sweep::new(48_000.0, amplitude, 20.0, 20_000.0, 2.0);
        (0..sweep.frame_count())
            .map(|n| sweep.sample(n) as f32)
            .collect()
    }

    fn to_16_bit(samples: &[f32]) -> Vec<f32> {
        samples
            .iter()
            .map(|x| (x * 32_768.0).round() / 32_768.0)
            .collect()
    }

    #[test]
    fn sweeps_of_1_to_0_001_in_float_and_16_bit_have_no_flat_top() {
        for amplitude in [1.0, 0.1, 0.01, 0.001] {
            let samples = sweep(amplitude);
            assert_eq!(flat_top_count(&samples), 0, "float {amplitude}");
            assert_eq!(
                flat_top_count(&to_16_bit(&samples)),
                0,
                "16 bit {amplitude}"
            );
        }
    }

    #[test]
    fn a_sweep_cut_by_0_1_db_or_more_has_hundreds_of_flat_tops_in_float_and_16_bit() {
        for cut_db in [-0.1, -1.0, -6.0] {
            let level = (0.1 * 10f64.powf(cut_db / 20.0)) as f32;
            let cut: Vec<f32> = sweep(0.1).iter().map(|x| x.clamp(-level, level)).collect();
            assert!(flat_top_count(&cut) > 100, "{cut_db} dB float");
            let coarse = flat_top_count(&to_16_bit(&cut));
            assert!(coarse > 100, "{cut_db} dB 16 bit: {coarse}");
        }
    }

    #[test]
    fn one_side_alone_and_silence_are_told_apart() {
        let cut: Vec<f32> = sweep(0.1).iter().map(|x| x.min(0.07)).collect();
        assert!(flat_top_count(&cut) > 100);
        assert_eq!(flat_top_count(&[0.0; 1_000]), 0);
        assert_eq!(flat_top_count(&[]), 0);
    }

    #[test]
    fn not_finite_samples_are_found_at_their_place() {
        assert_eq!(first_not_finite(&[0.0, 1.0, f32::NAN]), Some(2));
        assert_eq!(first_not_finite(&[0.0, f32::INFINITY]), Some(1));
        assert_eq!(first_not_finite(&[0.0; 4]), None);
    }
}
