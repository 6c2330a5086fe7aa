//! Search for a known short signal in a long recording.

use std::ops::Range;
use std::sync::Arc;

use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlanner};

use crate::burst::BURST_BAND_HZ;
use crate::window::flat_top;

/// Length in seconds to which the band-pass rings on either side.
const RING_S: f64 = 0.02;

/// A place where the signal was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Match {
    /// Index in the recording of the signal's first sample; below 0 where it begins before.
    pub at: i64,
    /// Normalised correlation there, from -1 to 1; below 0: inverted.
    pub likeness: f64,
}

/// Finds one template in recordings.
///
/// The likeness at a place is `sum b y / sqrt(sum b^2 sum y^2)`, with the recording `y` limited
/// to the band of the alignment bursts and the sums over the template's length. It is 1 for the
/// undisturbed template whatever its level, `sqrt(S / (S + N))` at a power ratio S/N in the band,
/// and noise that does not know the template stays below about `sqrt(2 ln M / D)` over M places,
/// D = 2 x length x bandwidth.
pub struct Detector {
    template_len: usize,
    guard: usize,
    size: usize,
    forward: Arc<dyn Fft<f32>>,
    inverse: Arc<dyn Fft<f32>>,
    /// Conjugate spectrum of the template plus j times the band-pass: one inverse transform then
    /// gives the correlation as real and the band-limited recording as imaginary part.
    filter: Vec<Complex32>,
}

impl Detector {
    /// Prepares the search for `template`, sampled at `rate_hz`.
    #[must_use]
    pub fn new(template: &[f64], rate_hz: f64) -> Self {
        let guard = (RING_S * rate_hz) as usize;
        let size = (6 * (template.len() + 2 * guard)).next_power_of_two();
        let mut planner = FftPlanner::new();
        let (forward, inverse) = (
            planner.plan_fft_forward(size),
            planner.plan_fft_inverse(size),
        );
        let norm = template.iter().map(|x| x * x).sum::<f64>().sqrt();
        let mut filter: Vec<Complex32> = vec![Complex32::default(); size];
        for (slot, &sample) in filter.iter_mut().zip(template) {
            slot.re = (sample / norm) as f32;
        }
        forward.process(&mut filter);
        for (bin, value) in filter.iter_mut().enumerate() {
            let frequency_hz = bin.min(size - bin) as f64 * rate_hz / size as f64;
            let pass = band_pass(frequency_hz) as f32;
            *value = (value.conj() * pass + Complex32::new(0.0, pass)) / size as f32;
        }
        Self {
            template_len: template.len(),
            guard,
            size,
            forward,
            inverse,
            filter,
        }
    }

    /// The best places in `range`, best first, at most `count`, half a template or more apart.
    ///
    /// Silence matches nowhere: its likeness is 0.
    #[must_use]
    pub fn search(&self, recording: &[f32], range: Range<i64>, count: usize) -> Vec<Match> {
        let hop = (self.size - self.template_len - 2 * self.guard) as i64;
        let mut found: Vec<Match> = Vec::new();
        let mut first = range.start;
        while first < range.end {
            let places = hop.min(range.end - first) as usize;
            let block = self.likeness_from(recording, first, places);
            // The best of each stretch of half a template is enough to choose from.
            let stretch = (self.template_len / 2).max(1);
            for (number, likeness) in block.chunks(stretch).enumerate() {
                let best = (0..likeness.len())
                    .max_by(|&a, &b| likeness[a].abs().total_cmp(&likeness[b].abs()));
                if let Some(best) = best {
                    found.push(Match {
                        at: first + (number * stretch + best) as i64,
                        likeness: f64::from(likeness[best]),
                    });
                }
            }
            first += hop;
        }
        found.sort_by(|a, b| b.likeness.abs().total_cmp(&a.likeness.abs()));
        self.thin(found, count)
    }

    /// Keeps matches that are not beside a better one.
    fn thin(&self, found: Vec<Match>, count: usize) -> Vec<Match> {
        let mut kept: Vec<Match> = Vec::new();
        for candidate in found {
            let apart =
                |other: &Match| (other.at - candidate.at).abs() > self.template_len as i64 / 2;
            if kept.len() < count && kept.iter().all(apart) {
                kept.push(candidate);
            }
        }
        kept
    }

    /// Likeness at `first`, `first + 1`, … for `places` places.
    fn likeness_from(&self, recording: &[f32], first: i64, places: usize) -> Vec<f32> {
        let start = first - self.guard as i64;
        let len = recording.len() as i64;
        let from = start.clamp(0, len);
        let heard = &recording[from as usize..(start + self.size as i64).clamp(from, len) as usize];
        if heard.iter().all(|&sample| sample == 0.0) {
            return vec![0.0; places];
        }
        let mut data = vec![Complex32::default(); self.size];
        for (slot, &sample) in data[(from - start) as usize..].iter_mut().zip(heard) {
            slot.re = sample;
        }
        self.forward.process(&mut data);
        for (value, filter) in data.iter_mut().zip(&self.filter) {
            *value *= filter;
        }
        self.inverse.process(&mut data);
        // A billionth of the block's energy is below what single precision tells apart.
        let mut sums = Vec::with_capacity(data.len() + 1);
        let mut sum = 0.0f64;
        sums.push(sum);
        for value in &data {
            sum += f64::from(value.im).powi(2);
            sums.push(sum);
        }
        let floor = 1e-9 * sum;
        let ends = sums[self.guard + self.template_len..].iter();
        let energies = sums[self.guard..].iter().zip(ends);
        let places = data[self.guard..self.guard + places].iter();
        places
            .zip(energies)
            .map(|(value, (start, end))| value.re / (end - start).max(floor).sqrt() as f32)
            .collect()
    }
}

/// Gain of the band-pass: the burst's band with soft edges that ring for less than [`RING_S`].
fn band_pass(frequency_hz: f64) -> f64 {
    let [low_hz, high_hz] = BURST_BAND_HZ;
    flat_top(
        frequency_hz,
        0.4 * low_hz,
        0.6 * low_hz,
        2_000.0,
        high_hz + 2_000.0,
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::burst::{self, End};
    use crate::noise;

    fn template() -> Vec<f64> {
        (0..7_200)
            .map(|n| burst::sample(End::Opening, f64::from(n) / 48_000.0))
            .collect()
    }

    #[test]
    fn an_inverted_burst_in_noise_at_0_db_is_found_at_its_place_across_blocks() {
        let template = template();
        let detector = Detector::new(&template, 48_000.0);
        for place in [0usize, 55_000, 65_000, 150_000] {
            let mut recording: Vec<f32> = (0..200_000)
                .map(|n| (0.7 * noise::gaussian(5, n)) as f32)
                .collect();
            for (n, sample) in template.iter().enumerate() {
                recording[place + n] -= *sample as f32;
            }
            let best = detector.search(&recording, -7_000..200_000, 1)[0];
            assert!(
                (best.at - place as i64).abs() <= 1,
                "{best:?}, want {place}"
            );
            assert!(best.likeness < -0.6, "{best:?}");
        }
    }

    #[test]
    fn a_recording_that_begins_within_the_burst_gives_a_place_below_0() {
        let template = template();
        let recording: Vec<f32> = template[2_000..].iter().map(|&x| x as f32 * 1e-3).collect();
        let best = Detector::new(&template, 48_000.0).search(&recording, -7_000..5_000, 1)[0];
        assert_eq!(best.at, -2_000);
    }

    #[test]
    fn unrelated_sounds_stay_below_a_likeness_of_0_15() {
        let detector = Detector::new(&template(), 48_000.0);
        let tone = |n: u64| (n as f64 * 0.13).sin();
        let click = |n: u64| f64::from(u8::from(n.is_multiple_of(5_000)));
        let noise = |n: u64| noise::gaussian(9, n);
        let sounds: [&dyn Fn(u64) -> f64; 3] = [&tone, &click, &noise];
        for sound in sounds {
            let recording: Vec<f32> = (0..300_000).map(|n| sound(n) as f32).collect();
            let best = detector.search(&recording, 0..290_000, 1)[0];
            assert!(best.likeness.abs() < 0.15, "{best:?}");
        }
    }
}
