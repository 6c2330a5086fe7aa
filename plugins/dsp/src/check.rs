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
/// that is merely rounded to steps of `q` stays at its crest for `m` samples while it falls by at
/// most `q`; a further `m` samples on, such a parabola has fallen by `rounded_fall` steps. A wave
/// cut below its crest falls by far more. `q` is the distance of the extreme from the next value
/// that occurs, which is the quantiser's own step there, however coarse: that of a companded link
/// grows with the level. Runs are counted where the fall exceeds that and 0.1 % of the extreme.
/// Valid for every rate and level; silence gives 0. Own derivation, common practice, no source.
#[must_use]
pub fn flat_top_count(samples: &[f32]) -> usize {
    [1.0, -1.0]
        .map(|sign| {
            let [level, next] = highest_two(samples, sign);
            flat_tops_at(samples, level, level - next, sign)
        })
        .iter()
        .sum()
}

/// The largest value of samples times `sign`, 0 or more, and the largest one that is less by more
/// than two roundings of `f32`.
fn highest_two(samples: &[f32], sign: f32) -> [f32; 2] {
    let highest = samples.iter().fold(0f32, |most, x| most.max(x * sign));
    let alike = least_alike(highest);
    let next = samples.iter().map(|x| x * sign).filter(|&x| x < alike);
    [highest, next.fold(0f32, f32::max)]
}

/// Two roundings of `f32` away from the extreme still counts as equal.
fn least_alike(level: f32) -> f32 {
    level * (1.0 - 2.0 * f32::EPSILON)
}

/// Steps by which a rounded parabola may have fallen `run` samples after a crest of `run` samples:
/// its width is at least `run - 1`, and `((3 run - 1) / (run - 1))²` steps are lost there. A quarter
/// more, because a companding quantiser's step grows by a sixth within one; two for rounding.
fn rounded_fall(run: usize) -> f32 {
    let run = run as f32;
    1.25 * ((3.0 * run - 1.0) / (run - 1.0)).powi(2) + 2.0
}

/// Flat tops of samples times `sign` at their highest `level`, `step` above the next value.
fn flat_tops_at(samples: &[f32], level: f32, step: f32, sign: f32) -> usize {
    if level == 0.0 {
        return 0;
    }
    let alike = least_alike(level);
    let (mut count, mut start) = (0, None);
    for (index, &sample) in samples.iter().enumerate() {
        let at_extreme = sample * sign >= alike;
        match (at_extreme, start) {
            (true, None) => start = Some(index),
            (false, Some(first)) => {
                let run = index - first;
                let later = samples.get(index + run - 1).copied().unwrap_or(0.0);
                let before = first
                    .checked_sub(run)
                    .map_or(0.0, |earlier| samples[earlier]);
                let fall = (level - later * sign).min(level - before * sign);
                let fall_min = |run| (rounded_fall(run) * step).max(1e-3 * level);
                count += usize::from(run >= 3 && fall > fall_min(run));
                start = None;
            }
            _ => {}
        }
    }
    count
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

    fn rounded(samples: &[f32], bits: i32) -> Vec<f32> {
        let steps = 2f32.powi(bits - 1);
        samples
            .iter()
            .map(|x| (x * steps).round() / steps)
            .collect()
    }

    fn to_16_bit(samples: &[f32]) -> Vec<f32> {
        rounded(samples, 16)
    }

    /// Coded in 8 bit by the mu-law of ITU-T G.711 and decoded: 14 bit, segments of 16 steps that
    /// double from one to the next (from memory).
    fn mu_law(samples: &[f32]) -> Vec<f32> {
        let one = |&x: &f32| {
            let magnitude = ((x.abs() * 8_192.0) as i32).min(8_158) + 33;
            let segment = 26 - magnitude.leading_zeros() as i32;
            let step = (magnitude >> (segment + 1)) & 15;
            let decoded = (((2 * step + 33) << segment) - 33) as f32;
            (decoded / 8_192.0).copysign(x)
        };
        samples.iter().map(one).collect()
    }

    #[test]
    fn coarse_quantisers_of_8_and_12_bit_and_mu_law_are_no_flat_tops_at_0_to_minus_30_dbfs() {
        for level_db in 0..=30 {
            let samples = sweep(10f64.powf(-f64::from(level_db) / 20.0));
            assert_eq!(
                flat_top_count(&mu_law(&samples)),
                0,
                "mu-law -{level_db} dB"
            );
            for bits in [8, 12] {
                let coarse = rounded(&samples, bits);
                assert_eq!(flat_top_count(&coarse), 0, "{bits} bit -{level_db} dB");
            }
        }
    }

    #[test]
    fn a_sweep_that_is_cut_before_a_coarse_quantiser_has_hundreds_of_flat_tops() {
        for level_db in [0, -3, -6, -10] {
            let cut = |cut_db: f64| -> Vec<f32> {
                let level = 10f64.powf(f64::from(level_db) / 20.0);
                let most = (level * 10f64.powf(cut_db / 20.0)) as f32;
                let samples = sweep(level);
                samples.iter().map(|x| x.clamp(-most, most)).collect()
            };
            for cut_db in [-1.0, -3.0, -6.0] {
                for bits in [8, 12] {
                    let count = flat_top_count(&rounded(&cut(cut_db), bits));
                    assert!(count > 100, "{bits} bit {level_db} {cut_db} dB: {count}");
                }
            }
            let count = flat_top_count(&mu_law(&cut(-6.0)));
            assert!(count > 100, "mu-law {level_db} dB: {count}");
        }
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
