//! What is left of a piece of sound without the tone: noise, hum, and what belongs to no harmonic.

use rustfft::FftPlanner;
use rustfft::num_complex::Complex64;

use super::moments::disturbance_power;

/// Nearest and farthest neighbours that tell the noise beside a harmonic, in cycles over the piece:
/// outside the hole that the fit leaves, and near enough to be like the noise in it.
const NEIGHBOURS: (f64, f64) = (4.0, 20.0);

/// Width of the pieces of a band in which the noise between lines is told, in cycles over the piece.
const NOISE_BINS: usize = 100;

/// The spectrum of what is left, under a Hann window.
#[derive(Debug, Clone)]
pub struct Residual {
    /// Each bin as the variance of white noise that were as dense as this bin.
    density: Vec<f64>,
    /// Length of the transform: bin `b` lies at `b / transform_length` cycles per sample.
    transform_length: usize,
    /// Length of the piece in samples.
    sample_count: usize,
    /// Mean square of what came and went.
    disturbance_power: f64,
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
    /// Transforms the residual of a tone of `cycles` a sample under `window`, whose mean square is
    /// 3/8.
    pub(super) fn new(
        planner: &mut FftPlanner<f64>,
        left: &[f64],
        window: &[f64],
        cycles: f64,
    ) -> Self {
        let sample_count = left.len();
        let transform_length = transform_length(sample_count);
        let mut bins = vec![Complex64::new(0.0, 0.0); transform_length];
        for (bin, (sample, weight)) in bins.iter_mut().zip(left.iter().zip(window)) {
            bin.re = sample * weight;
        }
        planner
            .plan_fft_forward(transform_length)
            .process(&mut bins);
        let square_sum = 0.375 * sample_count as f64;
        bins.truncate(transform_length / 2);
        Self {
            density: bins.iter().map(|b| b.norm_sqr() / square_sum).collect(),
            transform_length,
            sample_count,
            disturbance_power: disturbance_power(left, cycles),
        }
    }

    /// Power of what came and went beside the tone, mean square over the piece; 0 for silence.
    #[must_use]
    pub fn disturbance_power(&self) -> f64 {
        self.disturbance_power
    }

    /// Variance of white noise as dense as the residual is beside `cycles_per_sample`, where other
    /// tones may stand every `spacing` cycles per sample. Lines among the neighbours do not count.
    #[must_use]
    pub fn variance_beside(&self, cycles_per_sample: f64, spacing: f64) -> f64 {
        let bin = 1.0 / self.sample_count as f64;
        let far = (NEIGHBOURS.1 * bin).min(spacing / 2.0);
        let near = (NEIGHBOURS.0 * bin).min(far / 2.0);
        // Below three cycles over the piece, what drifts is not noise.
        let lowest = (cycles_per_sample - far).max(3.0 * bin);
        let below = self.bins(lowest, cycles_per_sample - near);
        let above = self.bins(cycles_per_sample + near, cycles_per_sample + far);
        let mut beside = self.density[below].to_vec();
        beside.extend_from_slice(&self.density[above]);
        noise_density(&mut beside)
    }

    /// Power between two frequencies in cycles per sample.
    ///
    /// `2 / L * sum of |R|² / sum(v²)` over the bins of a transform of length `L` under the window
    /// `v`; a sine well inside the band reads half its squared peak. The deviation is that of
    /// steady lines in Gaussian noise: a bin of the density `p` where noise has the density `m` has
    /// the variance `2 p m - m²`, and neighbouring bins of a Hann window of `N` samples count as
    /// `L / N * 35/18` for one (`35/18 = N sum(v⁴) / sum(v²)²`).
    #[must_use]
    pub fn band_power(&self, from: f64, to: f64) -> BandPower {
        let bins = self.bins(from, to);
        let length = self.transform_length as f64;
        let padding = length / self.sample_count as f64;
        let piece_length = (NOISE_BINS as f64 * padding) as usize;
        let (mut sum, mut variance) = (0.0, 0.0);
        for piece in self.density[bins].chunks(piece_length.max(1)) {
            let noise = noise_density(&mut piece.to_vec());
            let power: f64 = piece.iter().sum();
            sum += power;
            variance += (2.0 * power * noise - piece.len() as f64 * noise * noise).max(0.0);
        }
        BandPower {
            power: 2.0 / length * sum,
            uncertainty: 2.0 / length * (variance * padding * 35.0 / 18.0).sqrt(),
        }
    }

    /// The bins from one frequency to another.
    fn bins(&self, from: f64, to: f64) -> std::ops::Range<usize> {
        let bin = |cycles: f64| (cycles * self.transform_length as f64).ceil().max(0.0) as usize;
        let end = bin(to).min(self.density.len());
        bin(from).min(end)..end
    }
}

/// Mean density of the noise among bins of which less than half hold lines; 0 for none.
///
/// From the median: densities of noise are distributed exponentially, and the `k`-th smallest of
/// `n` such (from 0) is on average `1/n + 1/(n-1) + … + 1/(n-k)` of their mean, which is
/// `ln((n + 1/2) / (n - k - 1/2))` within 2 % from three bins on (Euler and Maclaurin).
pub(super) fn noise_density(bins: &mut [f64]) -> f64 {
    if bins.is_empty() {
        return 0.0;
    }
    let (count, middle) = (bins.len() as f64, bins.len() / 2);
    let (_, median, _) = bins.select_nth_unstable_by(middle, f64::total_cmp);
    *median / ((count + 0.5) / (count - middle as f64 - 0.5)).ln()
}

/// The next length that transforms quickly: a power of two, or three quarters of one.
pub(super) fn transform_length(sample_count: usize) -> usize {
    let power = sample_count.next_power_of_two();
    if power / 4 * 3 >= sample_count {
        power / 4 * 3
    } else {
        power
    }
}
