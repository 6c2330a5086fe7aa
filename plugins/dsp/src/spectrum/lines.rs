//! Lines: tones that stand out of the noise beside them.

use super::{Power, Spectrum, median_density};

/// Half width of a line's own bins (unpadded): the main lobe of the window.
const OWN_BINS: f64 = 8.0;

/// How far the noise beside a line is looked at, in unpadded bins, as far as 0 Hz leaves room.
const REACH_BINS: f64 = 200.0;

/// Noise-equivalent width of the window in bins, `C(16, 8) / C(8, 4)²`: so many share their noise.
const ALIKE_BINS: f64 = 2.63;

/// Variance of a mean of exponential values over that of the mean told from their median:
/// `ln² 2`.
const MEDIAN_EFFICIENCY: f64 = 0.48;

/// A bin that does not stand so far above the noise about it is no line, whatever its chance.
const FAR_OUT: f64 = 8.0;

/// A line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Frequency in Hz.
    pub frequency_hz: f64,
    /// Its mean square.
    pub power: Power,
}

/// Chance that noise alone stands `ratio` above its mean, told from `count` bins beside it:
/// `(1 + ratio / n)^-n` with `n` independent values, for the F distribution with 2 and `2 n`
/// degrees of freedom (closed form of its upper tail).
#[must_use]
pub fn line_chance(ratio: f64, count: f64) -> f64 {
    let independent = MEDIAN_EFFICIENCY * count / ALIKE_BINS;
    (1.0 + ratio / independent).powf(-independent)
}

impl Spectrum {
    /// The lines between two frequencies in Hz, lowest first: where noise alone would show one
    /// anywhere in fewer than a share `chance` of all pieces of sound.
    ///
    /// A line is the largest bin of its surroundings and stands so far above the median of what
    /// lies beside it that [`line_chance`], times the number of bins, is below `chance`. Frequency and
    /// power come from a parabola through the logarithms of three bins; the noise's share of the
    /// power is taken out.
    #[must_use]
    pub fn lines(&self, [from_hz, to_hz]: [f64; 2], chance: f64) -> Vec<Line> {
        let own = (OWN_BINS * self.padding).ceil() as usize;
        let first = ((from_hz / self.per_bin_hz).ceil() as usize).max(3 * own);
        let last = (to_hz / self.per_bin_hz) as usize;
        let last = last.min(self.sines.len().saturating_sub(own + 1));
        if last <= first {
            return Vec::new();
        }
        let places = (last - first) as f64 / self.padding;
        // What stands out of the median of its surroundings is looked at in earnest.
        let piece = (REACH_BINS * self.padding) as usize;
        let mut lines = Vec::new();
        for start in (first..=last).step_by(piece) {
            let end = (start + piece).min(last + 1);
            let about = median_density(&self.sines[start..end]);
            for bin in start..end {
                if self.sines[bin] <= FAR_OUT * about || !self.is_peak(bin, own) {
                    continue;
                }
                if let Some(noise) = self.beside(bin, own, chance / places) {
                    lines.push(self.line(bin, noise));
                }
            }
        }
        lines
    }

    /// Power of the strongest sine within the window's lobe about `frequency_hz`, noise included.
    #[must_use]
    pub fn power_at(&self, frequency_hz: f64) -> Power {
        let own = (self.padding * 2.0).ceil() as usize;
        let bin = (frequency_hz / self.per_bin_hz).round() as usize;
        let about = bin.saturating_sub(own)..(bin + own + 1).min(self.sines.len());
        let value = self.sines[about].iter().copied().fold(0.0, f64::max);
        Power {
            value,
            variance: value * value,
        }
    }

    fn is_peak(&self, bin: usize, own: usize) -> bool {
        let about = &self.sines[bin - own..=bin + own];
        about.iter().all(|&other| other <= self.sines[bin])
    }

    /// Mean power of noise at `bin`, where that bin is none of it.
    fn beside(&self, bin: usize, own: usize, chance: f64) -> Option<f64> {
        let reach = ((REACH_BINS * self.padding) as usize).min(bin / 2);
        let reach = reach.min(self.sines.len() - 1 - bin);
        if reach <= own {
            return None;
        }
        let mut beside = self.sines[bin - reach..bin - own].to_vec();
        beside.extend_from_slice(&self.sines[bin + own + 1..=bin + reach]);
        let noise = median_density(&beside);
        let count = beside.len() as f64 / self.padding;
        let ratio = self.sines[bin] / noise.max(f64::MIN_POSITIVE);
        (line_chance(ratio, count) < chance).then_some(noise)
    }

    fn line(&self, bin: usize, noise: f64) -> Line {
        let level = |bin: usize| self.sines[bin].max(f64::MIN_POSITIVE).ln();
        let (below, here, above) = (level(bin - 1), level(bin), level(bin + 1));
        let curvature = below - 2.0 * here + above;
        let off = if curvature < 0.0 {
            (0.5 * (below - above) / curvature).clamp(-0.5, 0.5)
        } else {
            0.0
        };
        let peak = (here - 0.25 * (below - above) * off).exp();
        let value = (peak - noise).max(f64::MIN_POSITIVE);
        Line {
            frequency_hz: (bin as f64 + off) * self.per_bin_hz,
            power: Power {
                value,
                // Noise of mean m beside a sine of power P: 2 P m + m² (noncentral chi-squared).
                variance: noise * (2.0 * value + noise),
            },
        }
    }
}
