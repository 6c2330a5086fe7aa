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
            // Frames before the recording and after it are silence.
            let len = samples.len() as i64;
            let from = (whole as i64).clamp(0, len);
            let to = (whole as i64 + count as i64).clamp(from, len);
            let silent_count = (from - whole as i64).clamp(0, count as i64) as usize;
            let mut read = vec![0.0; silent_count];
            let heard = &samples[from as usize..to as usize];
            read.extend(heard.iter().map(|&x| f64::from(x)));
            read.resize(count, 0.0);
            return read;
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
