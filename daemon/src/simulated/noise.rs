//! White noise and hum.

use std::{f64::consts::TAU, sync::LazyLock};

use super::random::Chance;

/// Cells of equal probability into which the normal distribution is cut.
const CELL_COUNT: usize = 2048;
/// Bits of a 32-bit number that choose the cell; the others say where in the cell.
const CELL_BITS: u32 = CELL_COUNT.trailing_zeros();
const PLACE_BITS: u32 = 32 - CELL_BITS;

/// Borders of the cells, for a standard deviation of exactly 1.
static BORDERS: LazyLock<[f64; CELL_COUNT + 1]> = LazyLock::new(normal_borders);

/// White noise, normally distributed, full band.
///
/// Frame n has the same number however it is come by. The distribution is normal up to 3.3
/// standard deviations and even from there to 3.84, where it ends; its mean is 0 and its standard
/// deviation as asked.
#[derive(Debug, Clone, Copy)]
pub struct WhiteNoise {
    chance: Chance,
    rms: f64,
}

impl WhiteNoise {
    /// Noise of this RMS, full scale = 1.
    pub fn new(chance: Chance, rms: f64) -> Self {
        Self { chance, rms }
    }

    /// Adds the noise of the frames from `first_frame` on.
    pub fn add(&self, first_frame: u64, block: &mut [f64]) {
        let borders: &[f64; CELL_COUNT + 1] = &BORDERS;
        // One number of 64 bits makes two frames.
        let lead = block.len().min((first_frame & 1) as usize);
        let (odd, pairs) = block.split_at_mut(lead);
        for sample in odd {
            *sample += self.rms * normal(borders, (self.chance.bits(first_frame / 2) >> 32) as u32);
        }
        let first_pair = first_frame.div_ceil(2);
        for (pair, index) in pairs.chunks_mut(2).zip(first_pair..) {
            let bits = self.chance.bits(index);
            pair[0] += self.rms * normal(borders, bits as u32);
            if let Some(second) = pair.get_mut(1) {
                *second += self.rms * normal(borders, (bits >> 32) as u32);
            }
        }
    }
}

/// A normally distributed number out of 32 bits: by the inverse of the distribution, linear within
/// each cell.
#[inline]
fn normal(borders: &[f64; CELL_COUNT + 1], bits: u32) -> f64 {
    let cell = (bits >> PLACE_BITS) as usize;
    let place = f64::from(bits & ((1 << PLACE_BITS) - 1)) * (1.0 / f64::from(1_u32 << PLACE_BITS));
    let (low, high) = (borders[cell], borders[cell + 1]);
    low + (high - low) * place
}

fn normal_borders() -> [f64; CELL_COUNT + 1] {
    let mut borders = [0.0; CELL_COUNT + 1];
    let half = CELL_COUNT / 2;
    for k in 1..half {
        let border = normal_quantile(borders[half + k - 1], k as f64 / CELL_COUNT as f64);
        borders[half + k] = border;
        borders[half - k] = -border;
    }
    // The last cell ends where an even distribution in it has the tail's own mean square, which is
    // 1 + a φ(a) / Q(a): (a² + a e + e²) / 3.
    let start = borders[CELL_COUNT - 1];
    let mean_square = 1.0 + start * normal_density(start) * CELL_COUNT as f64;
    let end = 0.5 * (-start + (start * start - 4.0 * (start * start - 3.0 * mean_square)).sqrt());
    (borders[0], borders[CELL_COUNT]) = (-end, end);
    let power = borders
        .windows(2)
        .map(|b| (b[0] * b[0] + b[0] * b[1] + b[1] * b[1]) / 3.0);
    let rms = (power.sum::<f64>() / CELL_COUNT as f64).sqrt();
    borders.map(|border| border / rms)
}

/// The x above 0 between which and 0 the normal distribution has `probability`; Newton's method.
fn normal_quantile(start: f64, probability: f64) -> f64 {
    (0..20).fold(start, |x, _| {
        x + (probability - normal_integral(x)) / normal_density(x)
    })
}

fn normal_density(x: f64) -> f64 {
    (-0.5 * x * x).exp() / TAU.sqrt()
}

/// Integral of the normal density from 0 to x: φ(x) (x + x³/3 + x⁵/(3·5) + …), Abramowitz and
/// Stegun 26.2.11 (from memory; checked below).
fn normal_integral(x: f64) -> f64 {
    let mut term = x;
    let mut sum = x;
    for k in 1..100 {
        term *= x * x / f64::from(2 * k + 1);
        sum += term;
    }
    sum * normal_density(x)
}

/// Frames from one sine that is computed anew to the next.
const HUM_STEP: usize = 64;

/// Mains hum: the fundamental, its second harmonic 6 dB and its third 12 dB lower, all as sines
/// that start at 0 with the stream.
#[derive(Debug, Clone)]
pub struct Hum {
    peak: f64,
    cycles_per_frame: f64,
    /// Sine and cosine of the first [`HUM_STEP`] frames.
    steps: Vec<(f64, f64)>,
}

impl Hum {
    /// Hum whose fundamental has this peak.
    pub fn new(peak: f64, frequency_hz: f64, rate_hz: f64) -> Self {
        let cycles_per_frame = frequency_hz / rate_hz;
        let steps = (0..HUM_STEP as u64)
            .map(|n| sine_cosine(n, cycles_per_frame))
            .collect();
        Self {
            peak,
            cycles_per_frame,
            steps,
        }
    }

    /// Adds the hum of the frames from `first_frame` on.
    pub fn add(&self, first_frame: u64, block: &mut [f64]) {
        let second = super::factor_of_db(-6.0);
        let third = super::factor_of_db(-12.0);
        let start_of = |frame: u64| frame - frame % HUM_STEP as u64;
        let mut start = start_of(first_frame);
        let (mut sin0, mut cos0) = sine_cosine(start, self.cycles_per_frame);
        for (sample, frame) in block.iter_mut().zip(first_frame..) {
            if start_of(frame) != start {
                start = frame;
                (sin0, cos0) = sine_cosine(start, self.cycles_per_frame);
            }
            // Sum of two angles, then the double and the triple angle.
            let (sin1, cos1) = self.steps[(frame - start) as usize];
            let (sin, cos) = (sin0 * cos1 + cos0 * sin1, cos0 * cos1 - sin0 * sin1);
            let harmonics = second * 2.0 * sin * cos + third * (3.0 - 4.0 * sin * sin) * sin;
            *sample += self.peak * (sin + harmonics);
        }
    }
}

fn sine_cosine(frame: u64, cycles_per_frame: f64) -> (f64, f64) {
    ((frame as f64 * cycles_per_frame).fract() * TAU).sin_cos()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normal_quantiles_agree_with_the_published_table_to_6_digits() {
        // Abramowitz and Stegun, table 26.1 and its inverse, from memory: Q(1.959964) = 0.025,
        // Q(2.326348) = 0.01, Q(3.090232) = 0.001.
        for (tail, want) in [(0.025, 1.959_964), (0.01, 2.326_348), (0.001, 3.090_232)] {
            let got = normal_quantile(2.0, 0.5 - tail);
            assert!((got - want).abs() < 1e-6, "got {got}, want {want}");
        }
    }

    #[test]
    fn noise_has_the_moments_of_a_normal_distribution_and_no_memory() {
        let mut block = vec![0.0; 1 << 20];
        WhiteNoise::new(Chance::new(3, "noise", "x"), 0.25).add(0, &mut block);
        let count = block.len() as f64;
        let moment = |power: i32| block.iter().map(|x| (x / 0.25).powi(power)).sum::<f64>() / count;
        // Standard errors of the moments of a normal distribution: √(1, 2, 15, 96 ÷ n), times 4.
        // The fourth moment is 2.988 by the cut tails.
        for (power, want, spread) in [
            (1, 0.0, 1.0),
            (2, 1.0, 2.0),
            (3, 0.0, 15.0),
            (4, 2.988, 96.0),
        ] {
            let (got, tolerance) = (moment(power), 4.0 * f64::sqrt(spread / count) + 2e-3);
            assert!(
                (got - want).abs() < tolerance,
                "moment {power}: got {got}, want {want}"
            );
        }
        for lag in [1, 2, 3, 64] {
            let correlation = block
                .iter()
                .zip(&block[lag..])
                .map(|(a, b)| a * b)
                .sum::<f64>()
                / count
                / 0.0625;
            assert!(
                correlation.abs() < 4.0 / count.sqrt(),
                "lag {lag}: {correlation}"
            );
        }
    }

    #[test]
    fn noise_is_the_same_in_blocks_of_1_and_7_and_1000_frames() {
        let noise = WhiteNoise::new(Chance::new(3, "noise", "x"), 1.0);
        let mut whole = vec![0.0; 1000];
        noise.add(5, &mut whole);
        for size in [1, 7] {
            let mut parts = vec![0.0; 1000];
            for (k, part) in parts.chunks_mut(size).enumerate() {
                noise.add(5 + (k * size) as u64, part);
            }
            assert_eq!(whole, parts);
        }
    }

    #[test]
    fn hum_of_50_hz_has_harmonics_6_and_12_db_lower() {
        let mut block = vec![0.0; 48_000];
        Hum::new(0.1, 50.0, 48_000.0).add(0, &mut block);
        for (harmonic, want_db) in [(1, -20.0), (2, -26.0), (3, -32.0)] {
            let step = TAU * 50.0 * f64::from(harmonic) / 48_000.0;
            let sum: f64 = block
                .iter()
                .zip(0..)
                .map(|(x, n)| x * (step * f64::from(n)).sin())
                .sum();
            let got_db = 20.0 * (sum / 24_000.0).log10();
            assert!(
                (got_db - want_db).abs() < 1e-9,
                "got {got_db} dB, want {want_db} dB"
            );
        }
    }
}
