//! The power spectrum of something that goes on: noise, and lines that stand out of it.

mod lines;

pub use lines::{Line, line_chance};

use std::f64::consts::{PI, TAU};

use crate::fft::{Transform, smooth_size};
use crate::turn::turns;
use crate::window::flat_top;

/// Share of the piece that the power window's fades take at each end. With cosine fades
/// `N sum(v⁴) / sum(v²)²` is 1.07: the deviation is 3 % above the least possible one.
const FADE_SHARE: f64 = 1.0 / 16.0;

/// Bins of an unpadded transform in which the noise between lines is told.
const PIECE_BINS: f64 = 100.0;

/// Power with its variance, mean square of full scale = 1.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Power {
    /// Mean square.
    pub value: f64,
    /// Variance of the mean square.
    pub variance: f64,
}

impl Power {
    /// Standard deviation relative to the power.
    #[must_use]
    pub fn relative(self) -> f64 {
        self.variance.sqrt() / self.value.max(f64::MIN_POSITIVE)
    }

    /// Another power, independent of this one, taken away.
    #[must_use]
    pub fn minus(self, other: Self) -> Self {
        Self {
            value: self.value - other.value,
            variance: self.variance + other.variance,
        }
    }

    /// Times a known factor of power.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        Self {
            value: self.value * factor,
            variance: self.variance * factor * factor,
        }
    }
}

/// The spectrum of a whole piece of sound, by one transform: nothing is averaged away, so that
/// bands and lines are as sharp as the piece is long.
#[derive(Debug, Clone)]
pub struct Spectrum {
    /// Each bin as the variance of white noise that were as dense as this bin.
    density: Vec<f64>,
    /// Mean of `density` without lines, by pieces of so many bins.
    noise: Vec<f64>,
    piece: usize,
    /// Each bin as the power of a sine at it.
    sines: Vec<f64>,
    per_bin_hz: f64,
    /// Bins that stand for one of a transform without padding.
    padding: f64,
    /// Bins of an unpadded transform that share the noise of one: `N sum(v⁴) / sum(v²)²`.
    alike: f64,
}

impl Spectrum {
    /// Transforms a piece of sound.
    ///
    /// The mean is taken out. Valid for pieces of 64 samples or more; silence gives silence, a
    /// NaN spreads everywhere.
    #[must_use]
    pub fn new(samples: &[f64], rate_hz: f64) -> Self {
        let count = samples.len();
        let mean = samples.iter().sum::<f64>() / count as f64;
        let length = count as f64;
        let fade = FADE_SHARE * length;
        let (mut even, mut lobed) = (vec![0.0; count], vec![0.0; count]);
        let (mut squares, mut fourths, mut sum) = (0.0, 0.0, 0.0);
        let angles = turns(PI / length, TAU / length);
        for ((n, sample), angle) in samples.iter().enumerate().zip(angles) {
            let flat = flat_top(n as f64 + 0.5, 0.0, fade, fade, length);
            // Hann's window to the fourth power: beyond eight bins its side lobes lie below -115 dB,
            // so that no line makes others beside it.
            let bell = (0.5 - 0.5 * angle.re).powi(4);
            even[n] = flat * (sample - mean);
            lobed[n] = bell * (sample - mean);
            squares += flat.powi(2);
            fourths += flat.powi(4);
            sum += bell;
        }
        let size = smooth_size(count);
        let [even, lobed] = Transform::new(size).forward_pair(&even, &lobed);
        let density: Vec<f64> = even.iter().map(|x| x.norm_sqr() / squares).collect();
        let padding = size as f64 / length;
        let piece = (PIECE_BINS * padding) as usize;
        Self {
            noise: density.chunks(piece).map(median_density).collect(),
            piece,
            density,
            sines: (lobed.iter())
                .map(|x| 2.0 * x.norm_sqr() / (sum * sum))
                .collect(),
            per_bin_hz: rate_hz / size as f64,
            padding,
            alike: length * fourths / (squares * squares),
        }
    }

    /// The same with every power at `f` Hz multiplied by `factor(f)`.
    #[must_use]
    pub fn scaled(mut self, factor: impl Fn(f64) -> f64) -> Self {
        let bins = self.density.iter_mut().zip(&mut self.sines);
        for (bin, (density, sine)) in bins.enumerate() {
            let factor = factor(bin as f64 * self.per_bin_hz);
            *density *= factor;
            *sine *= factor;
        }
        for (index, noise) in self.noise.iter_mut().enumerate() {
            let middle = (index as f64 + 0.5) * self.piece as f64;
            *noise *= factor(middle * self.per_bin_hz);
        }
        self
    }

    /// Power between two frequencies in Hz, each bin weighted by `weight(f)`, a factor of power.
    ///
    /// `2 / L · sum of w |X|² / sum(v²)`, bins at the edges by the share that lies inside. The
    /// variance is that of steady lines in Gaussian noise: a bin of density `p` where noise has the
    /// density `m` has the variance `2 p m - m²` (of noise alone `m²`, chi-squared with two degrees
    /// of freedom).
    #[must_use]
    pub fn power(&self, [from_hz, to_hz]: [f64; 2], weight: impl Fn(f64) -> f64) -> Power {
        let (from, to) = (from_hz / self.per_bin_hz, to_hz / self.per_bin_hz);
        let first = (from + 0.5) as usize;
        let last = ((to + 0.5) as usize).min(self.density.len() - 1);
        let mut power = Power::default();
        for piece in first / self.piece..=last / self.piece {
            let start = first.max(piece * self.piece);
            let end = (last + 1).min((piece + 1) * self.piece);
            let noise = self.noise[piece];
            let (mut sum, mut squared, mut squares) = (0.0, 0.0, 0.0);
            for (bin, density) in (start..end).zip(&self.density[start..end]) {
                let at = bin as f64;
                let share = (to.min(at + 0.5) - from.max(at - 0.5)).clamp(0.0, 1.0);
                let weight = share * weight(at * self.per_bin_hz);
                sum += weight * density;
                squared += weight * weight * density;
                squares += weight * weight;
            }
            power.value += sum;
            power.variance += (2.0 * noise * squared - noise * noise * squares).max(0.0);
        }
        // Half of the power lies at negative frequencies.
        let scale = 2.0 * self.per_bin_hz / self.rate_hz();
        Power {
            value: scale * power.value,
            variance: scale * scale * power.variance * self.padding * self.alike,
        }
    }

    /// Rate in Hz of what was transformed.
    fn rate_hz(&self) -> f64 {
        self.per_bin_hz * 2.0 * (self.density.len() - 1) as f64
    }
}

/// Mean of exponentially distributed densities among which are lines, from their median: that is
/// `ln 2` of the mean for many, and for `n` of them `ln((n + 1/2) / (n - k - 1/2))`, `k` the place
/// of the median from 0. 0 for none.
fn median_density(densities: &[f64]) -> f64 {
    let mut sorted = densities.to_vec();
    if sorted.is_empty() {
        return 0.0;
    }
    let (count, middle) = (sorted.len() as f64, sorted.len() / 2);
    let (_, median, _) = sorted.select_nth_unstable_by(middle, f64::total_cmp);
    *median / ((count + 0.5) / (count - middle as f64 - 0.5)).ln()
}
