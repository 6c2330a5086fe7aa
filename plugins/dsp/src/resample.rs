//! Band-limited interpolation: between rates, and of clocks that are off.

use std::f64::consts::PI;

use rustfft::num_complex::Complex64;

use crate::interpolate::cubic;
use crate::window::kaiser;

/// Taps of the kernel per sample of the lower rate. With [`BETA`] the response is flat within
/// 1e-6 up to 0.459 of the lower rate (20.2 kHz at 44.1 kHz): Kaiser's rule
/// `taps = (A - 7.95) / (14.36 transition)` with A = 120 dB gives a transition of 0.081.
const TAPS: usize = 96;
/// Kaiser's `beta = 0.1102 (A - 8.7)` for A = 120 dB.
const BETA: f64 = 12.265;
/// Kernels are tabulated at this many fractions of a sample; between two of them the output is
/// interpolated in a straight line, off by at most `(pi / 2048)^2 / 8`, that is -131 dB.
const FRACTIONS: usize = 2048;

/// Windowed-sinc interpolation (Kaiser window; J. O. Smith's band-limited interpolation) at
/// evenly spaced places.
pub struct Resampler {
    tap_count: usize,
    /// Kernel by fraction, then tap; one fraction more than [`FRACTIONS`].
    table: Vec<f64>,
}

impl Resampler {
    /// Prepares for output every `step` input samples: the input's rate over the output's.
    ///
    /// Valid for `0.1 <= step <= 10`. Where `step > 1.001`, what lies above the new half rate is
    /// filtered away; below, input and output are taken as of one rate.
    #[must_use]
    pub fn new(step: f64) -> Self {
        let stretch = if step > 1.001 { step } else { 1.0 };
        let half = (TAPS as f64 / 2.0 * stretch).ceil() as usize;
        let tap_count = 2 * half;
        let window = KaiserTable::new();
        let mut table = Vec::with_capacity((FRACTIONS + 1) * tap_count);
        for index in 0..=FRACTIONS {
            let fraction = index as f64 / FRACTIONS as f64;
            let first = -(half as f64 - 1.0) - fraction;
            // The sine of each tap is that of the last one, turned on.
            let turn = Complex64::cis(PI / stretch);
            let mut phasor = Complex64::cis(PI * first / stretch);
            for tap in 0..tap_count {
                let distance = first + tap as f64;
                let weight = window.at((distance / half as f64).abs());
                table.push(sinc(distance / stretch, phasor.im) * weight / stretch);
                phasor *= turn;
            }
        }
        Self { tap_count, table }
    }

    /// Output sample `n` is the input at `first_position + n * step`, for `count` samples.
    ///
    /// `step` is that of [`Resampler::new`] within 0.1 %.
    /// The input is taken as 0 outside of `input`. Silence gives silence; a NaN spreads over the
    /// width of the kernel.
    #[must_use]
    pub fn resample(
        &self,
        input: &[f64],
        first_position: f64,
        step: f64,
        count: usize,
    ) -> Vec<f64> {
        (0..count)
            .map(|n| self.at(input, first_position + n as f64 * step))
            .collect()
    }

    fn at(&self, input: &[f64], position: f64) -> f64 {
        let base = position.floor();
        let place = (position - base) * FRACTIONS as f64;
        let (row, between) = (place as usize, place.fract());
        let first = base as i64 - (self.tap_count as i64 / 2 - 1);
        let (low, high) = (
            &self.table[row * self.tap_count..][..self.tap_count],
            &self.table[(row + 1).min(FRACTIONS) * self.tap_count..][..self.tap_count],
        );
        let inside = usize::try_from(first)
            .ok()
            .and_then(|from| input.get(from..from + self.tap_count));
        let (below, above) = match inside {
            Some(samples) => (dot(samples, low), dot(samples, high)),
            None => {
                let padded: Vec<f64> = (first..first + self.tap_count as i64)
                    .map(|at| usize::try_from(at).ok().and_then(|at| input.get(at)))
                    .map(|sample| sample.copied().unwrap_or(0.0))
                    .collect();
                (dot(&padded, low), dot(&padded, high))
            }
        };
        below + (above - below) * between
    }
}

/// `sin(pi x) / (pi x)` where the sine is known: the kernel of a cutoff at half a sample rate.
fn sinc(x: f64, sine: f64) -> f64 {
    if x.abs() < 1e-9 { 1.0 } else { sine / (PI * x) }
}

/// The Kaiser window between 0 and 1: its Bessel series would take longer than the resampling of
/// a short recording.
struct KaiserTable {
    values: Vec<f64>,
}

impl KaiserTable {
    /// Steps from 0 to 1: cubic interpolation between them is off by less than 1e-10.
    const STEPS: usize = 1024;

    fn new() -> Self {
        // One step more at either end for the interpolation; the window is even about 0.
        let values = (0..Self::STEPS + 4)
            .map(|index| kaiser(((index as f64 - 1.0) / Self::STEPS as f64).min(1.0), BETA))
            .collect();
        Self { values }
    }

    /// The window at `x` in 0..=1; beyond it 0.
    fn at(&self, x: f64) -> f64 {
        if x > 1.0 {
            return 0.0;
        }
        let place = x * Self::STEPS as f64;
        let base = place as usize;
        let weights = cubic(place - base as f64);
        (0..4)
            .map(|index| self.values[base + index] * weights[index])
            .sum()
    }
}

/// Scalar product in eight lanes, which the compiler turns into vector code.
pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut lanes = [0.0; 8];
    let (a_chunks, b_chunks) = (a.chunks_exact(8), b.chunks_exact(8));
    let rest: f64 = a_chunks
        .remainder()
        .iter()
        .zip(b_chunks.remainder())
        .map(|(x, y)| x * y)
        .sum();
    for (x, y) in a_chunks.zip(b_chunks) {
        for lane in 0..8 {
            lanes[lane] += x[lane] * y[lane];
        }
    }
    lanes.iter().sum::<f64>() + rest
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn worst(step: f64, frequency_hz: f64, rate_hz: f64) -> f64 {
        let tone = |position: f64| (TAU * frequency_hz / rate_hz * position + 0.3).sin();
        let input: Vec<f64> = (0..8_000).map(|n| tone(f64::from(n))).collect();
        let count = (6_000.0 / step) as usize;
        let output = Resampler::new(step).resample(&input, 1_000.123, step, count);
        output
            .iter()
            .enumerate()
            .map(|(n, got)| (got - tone(1_000.123 + n as f64 * step)).abs())
            .fold(0.0, f64::max)
    }

    #[test]
    fn tones_up_to_20_khz_come_back_within_2e_6_at_44_1_khz_and_minus_116_db_elsewhere() {
        for (step, from_hz) in [
            (1.0001, 44_100.0),
            (0.9997, 48_000.0),
            (48_000.0 / 44_100.0, 48_000.0),
            (44_100.0 / 96_000.0, 44_100.0),
            (192_000.0 / 44_100.0, 192_000.0),
        ] {
            for frequency_hz in [20.0, 1_000.0, 15_000.0, 20_000.0] {
                let error = worst(step, frequency_hz, from_hz);
                assert!(error < 2e-6, "{step} {frequency_hz} Hz: {error}");
            }
        }
    }

    #[test]
    fn what_lies_above_the_new_half_rate_is_gone_by_110_db() {
        let input: Vec<f64> = (0..8_000)
            .map(|n| (TAU * 30.0 / 96.0 * f64::from(n)).sin())
            .collect();
        let output = Resampler::new(2.0).resample(&input, 1_000.0, 2.0, 3_000);
        let peak = output.iter().fold(0f64, |peak, x| peak.max(x.abs()));
        assert!(peak < 3e-6, "peak {peak}");
    }

    #[test]
    fn outside_of_the_input_there_is_silence() {
        let output = Resampler::new(1.0).resample(&[1.0; 10], -500.0, 1.0, 100);
        assert!(output.iter().all(|&x| x == 0.0));
    }
}
