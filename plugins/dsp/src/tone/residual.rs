//! What is left of a piece of sound without the tone: noise, hum, and what belongs to no harmonic.

use rustfft::FftPlanner;
use rustfft::num_complex::Complex64;

/// Nearest and farthest neighbours that tell the noise beside a harmonic, in cycles over the piece:
/// outside the hole that the fit leaves, and near enough to be like the noise in it.
const NEIGHBOURS: (f64, f64) = (4.0, 20.0);

/// The spectrum of what is left, under a Hann window.
#[derive(Debug, Clone)]
pub struct Residual {
    /// Each bin as the variance of white noise that were as dense as this bin.
    density: Vec<f64>,
    /// Length of the transform: bin `b` lies at `b / transform_length` cycles per sample.
    transform_length: usize,
    /// Length of the piece in samples.
    sample_count: usize,
}

/// Power in a band with its standard deviation, mean square of full scale = 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandPower {
    /// Mean square.
    pub power: f64,
    /// Standard deviation of the mean square.
    pub uncertainty: f64,
}

impl Residual {
    /// Transforms the residual of a piece.
    pub(super) fn new(planner: &mut FftPlanner<f64>, left: Vec<f64>) -> Self {
        let sample_count = left.len();
        let transform_length = transform_length(sample_count);
        let mut bins = vec![Complex64::new(0.0, 0.0); transform_length];
        let turn = std::f64::consts::PI / sample_count as f64;
        for (n, (bin, sample)) in bins.iter_mut().zip(&left).enumerate() {
            bin.re = sample * (turn * (n as f64 + 0.5)).sin().powi(2);
        }
        planner
            .plan_fft_forward(transform_length)
            .process(&mut bins);
        // Mean square of a Hann window: 3/8.
        let square_sum = 0.375 * sample_count as f64;
        bins.truncate(transform_length / 2);
        Self {
            density: bins.iter().map(|b| b.norm_sqr() / square_sum).collect(),
            transform_length,
            sample_count,
        }
    }

    /// Variance of white noise as dense as the residual is beside `cycles_per_sample`, where other
    /// tones may stand every `spacing` cycles per sample.
    #[must_use]
    pub fn variance_beside(&self, cycles_per_sample: f64, spacing: f64) -> f64 {
        let bin = 1.0 / self.sample_count as f64;
        let far = (NEIGHBOURS.1 * bin).min(spacing / 2.0);
        let near = (NEIGHBOURS.0 * bin).min(far / 2.0);
        let below = self.mean_density(cycles_per_sample - far, cycles_per_sample - near);
        let above = self.mean_density(cycles_per_sample + near, cycles_per_sample + far);
        match (below, above) {
            (Some(below), Some(above)) => (below + above) / 2.0,
            (one, other) => one.or(other).unwrap_or(0.0),
        }
    }

    /// Power between two frequencies in cycles per sample.
    ///
    /// `2 / L * sum of |R|² / sum(v²)` over the bins of a transform of length `L` under the window
    /// `v`; a sine well inside the band reads half its squared peak. The deviation is that of
    /// Gaussian noise with this spectrum: neighbouring bins of a Hann window of `N` samples count as
    /// `L / N * 35/18` for one (`35/18 = N sum(v⁴) / sum(v²)²`).
    #[must_use]
    pub fn band_power(&self, from: f64, to: f64) -> BandPower {
        let bins = self.bins(from, to);
        let (mut sum, mut square_sum) = (0.0, 0.0);
        for &density in &self.density[bins] {
            sum += density;
            square_sum += density * density;
        }
        let length = self.transform_length as f64;
        let together = length / self.sample_count as f64 * 35.0 / 18.0;
        BandPower {
            power: 2.0 / length * sum,
            // Squares of a chi-squared variable of two degrees average twice the squared mean.
            uncertainty: 2.0 / length * (square_sum / 2.0 * together).sqrt(),
        }
    }

    /// Mean density between two frequencies; `None` where no bin lies there.
    fn mean_density(&self, from: f64, to: f64) -> Option<f64> {
        let lowest = 3.0 / self.sample_count as f64;
        let bins = self.bins(from.max(lowest), to);
        let count = bins.len() as f64;
        (count > 0.0).then(|| self.density[bins].iter().sum::<f64>() / count)
    }

    /// The bins from one frequency to another.
    fn bins(&self, from: f64, to: f64) -> std::ops::Range<usize> {
        let bin = |cycles: f64| (cycles * self.transform_length as f64).ceil().max(0.0) as usize;
        let end = bin(to).min(self.density.len());
        bin(from).min(end)..end
    }
}

/// The next length that transforms quickly: a power of two, or three quarters of one.
fn transform_length(sample_count: usize) -> usize {
    let power = sample_count.next_power_of_two();
    if power / 4 * 3 >= sample_count {
        power / 4 * 3
    } else {
        power
    }
}
