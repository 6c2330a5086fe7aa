//! Reads a recording on another clock.

use std::cell::OnceCell;

use crate::resample::Resampler;

/// Reads recordings on clocks that are off by less than 0.1 %; keeps its kernel, once needed.
#[derive(Default)]
pub(super) struct ClockReader {
    resampler: OnceCell<Resampler>,
}

impl ClockReader {
    /// `count` samples of a recording from `first` on, `step` frames apart, 0 outside of it.
    /// Where no interpolation is needed none is done.
    pub(super) fn read(&self, samples: &[f32], first: f64, step: f64, count: usize) -> Vec<f64> {
        let whole = first.round();
        if (first - whole).abs() < 1e-9 && (step - 1.0).abs() * (count as f64) < 1e-9 {
            let first = whole as i64;
            return (first..first + count as i64)
                .map(|at| usize::try_from(at).ok().and_then(|at| samples.get(at)))
                .map(|sample| sample.map_or(0.0, |&x| f64::from(x)))
                .collect();
        }
        // Only what the kernel reaches is converted.
        let from = (first.floor() as i64 - 64).clamp(0, samples.len() as i64) as usize;
        let to = (first + step * count as f64).ceil() as i64 + 64;
        let to = to.clamp(from as i64, samples.len() as i64) as usize;
        let input: Vec<f64> = samples[from..to].iter().map(|&x| f64::from(x)).collect();
        self.resampler.get_or_init(|| Resampler::new(1.0)).resample(
            &input,
            first - from as f64,
            step,
            count,
        )
    }
}
