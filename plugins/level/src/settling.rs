//! Steps in which the link is still settling: limiters and compressors take their time.

use std::f64::consts::TAU;

use goodwire_dsp::tone::{Complex64, ToneFit};

/// Share of a step that is read where it is still settling: the last part. Of an attack time of a
/// fifth of the step, 2 % of the change are left in it.
const LATE: f64 = 0.4;

/// A step is settling where its amplitude moves by more than this, as a ratio: 0.009 dB.
const MOVES: f64 = 1e-3;

/// The same in standard deviations of a third of the step, which is `sqrt(3)` of the whole one's.
const MOVES_DEVIATIONS: f64 = 5.0;

/// Periods of the tone that the late part holds at least.
const PERIODS_MIN: f64 = 8.0;

/// The part of a step to be read where its amplitude moves one way and ever more slowly: of three
/// thirds the second lies between the others, and nearer to the last. `None` where it is steady,
/// and where something else happened than that a link settled.
pub fn late_part<'a>(samples: &'a [f32], whole: &ToneFit) -> Option<&'a [f32]> {
    let cycles = whole.cycles_per_sample;
    let third = samples.len() / 3;
    let [early, middle, late] =
        [0, 1, 2].map(|part| amplitude(&samples[part * third..(part + 1) * third], cycles));
    let deviation = 3f64.sqrt() * whole.amplitude_uncertainty();
    let least = (MOVES_DEVIATIONS * deviation).max(MOVES * whole.amplitude());
    let (first, second) = (middle - early, late - middle);
    let one_way = first * second > -deviation * deviation && second.abs() < first.abs();
    let count = (LATE * samples.len() as f64) as usize;
    let holds = count as f64 * cycles >= PERIODS_MIN;
    (first.abs() > least && one_way && holds).then(|| &samples[samples.len() - count..])
}

/// Amplitude of a sine of `cycles` per sample, near enough to compare parts of one sound.
fn amplitude(samples: &[f32], cycles: f64) -> f64 {
    // Whole periods, so that what does not change leaks alike into all parts.
    let periods = (samples.len() as f64 * cycles).floor();
    let count = ((periods / cycles) as usize).min(samples.len());
    let turn = Complex64::cis(-TAU * cycles);
    let (mut sum, mut phasor) = (Complex64::default(), Complex64::new(1.0, 0.0));
    for &sample in &samples[..count] {
        sum += f64::from(sample) * phasor;
        phasor *= turn;
    }
    2.0 * sum.norm() / count.max(1) as f64
}

#[cfg(test)]
mod tests {
    use goodwire_dsp::tone::ToneFitter;

    use super::*;

    const CYCLES: f64 = 997.0 / 48_000.0;

    /// The share of a step of 0.43 s that is read, its amplitude moving as `gain` says over time.
    fn share(gain: impl Fn(f64) -> f64) -> f64 {
        let samples: Vec<f32> = (0..20_640)
            .map(|n| gain(f64::from(n) / 48_000.0) * (TAU * CYCLES * f64::from(n)).sin())
            .map(|x| x as f32)
            .collect();
        let whole = ToneFitter::new().fit(&samples, CYCLES).unwrap();
        late_part(&samples, &whole).map_or(1.0, |late| late.len() as f64 / samples.len() as f64)
    }

    #[test]
    fn step_that_settles_is_read_in_its_last_two_fifths_and_a_steady_one_whole() {
        assert!((share(|t| 1.0 + 0.1 * (-t / 0.1).exp()) - 0.4).abs() < 1e-3);
        assert!((share(|t| 1.0 - 0.1 * (-t / 0.05).exp()) - 0.4).abs() < 1e-3);
        assert_eq!(share(|_| 0.5), 1.0);
        assert_eq!(share(|t| 1.0 + 1e-4 * (-t / 0.1).exp()), 1.0);
    }

    #[test]
    fn step_that_fades_ever_faster_or_comes_and_goes_is_read_whole() {
        assert_eq!(share(|t| 1.0 - t * t), 1.0);
        assert_eq!(share(|t| 1.0 + 0.1 * (TAU * t / 0.43).sin()), 1.0);
    }
}
