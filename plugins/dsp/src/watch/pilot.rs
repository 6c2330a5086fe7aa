//! The pilot of a watch: noise that never repeats, so that a repeated packet is another sound.

use std::f64::consts::PI;

use crate::{Complex64, decibel, fft::Transform, noise};

/// Lower and upper edge of the pilot in Hz: what every link for speech or music carries.
pub const PILOT_BAND_HZ: (f64, f64) = (200.0, 7_000.0);

/// Frames from one stretch of noise to the next, at 48 kHz and below; more above.
const HOP_S: f64 = 2048.0 / 48_000.0;
/// Ratio of the peak to the RMS: what lies above is cut, the same for link and cable. Gaussian
/// noise is above 3.5 standard deviations for 0.05 % of the time.
const CREST: f64 = 3.5;

/// Band-limited Gaussian noise, a pure function of seed, rate and frame.
///
/// Stretches of noise with flat spectrum and phases drawn from the seed overlap by half under sine
/// windows, whose squares add up to 1, so the power is the same everywhere.
pub struct Pilot {
    seed: u64,
    hop: usize,
    peak: f64,
    /// First and last bin of the band.
    bins: (usize, usize),
    transform: Transform,
    window: Vec<f64>,
    /// The latest stretch, and its number.
    latest: Option<(u64, Vec<f64>)>,
    before: Option<(u64, Vec<f64>)>,
}

impl Pilot {
    /// The pilot of `seed` at `rate_hz`, whose peak is `level_dbfs`.
    #[must_use]
    pub fn new(rate_hz: f64, level_dbfs: f64, seed: u64) -> Self {
        let hop = ((rate_hz * HOP_S).round() as usize).next_power_of_two();
        let size = 2 * hop;
        let bin = |hz: f64| (hz / rate_hz * size as f64).round() as usize;
        let window = |n: usize| (PI * (n as f64 + 0.5) / size as f64).sin();
        Self {
            seed,
            hop,
            peak: decibel::amplitude(level_dbfs),
            bins: (bin(PILOT_BAND_HZ.0), bin(PILOT_BAND_HZ.1)),
            transform: Transform::new(size),
            window: (0..size).map(window).collect(),
            latest: None,
            before: None,
        }
    }

    /// Gives the pilot from `first_frame` on.
    pub fn render(&mut self, first_frame: u64, samples: &mut [f32]) {
        let hop = self.hop as u64;
        let mut done = 0;
        while done < samples.len() {
            let frame = first_frame + done as u64;
            let (number, at) = (frame / hop, (frame % hop) as usize);
            let count = (self.hop - at).min(samples.len() - done);
            self.prepare(number);
            let (latest, before) = (self.latest.as_ref(), self.before.as_ref());
            let (Some((_, rising)), Some((_, falling))) = (latest, before) else {
                return; // prepare() has made both
            };
            let pairs = rising[at..].iter().zip(&falling[self.hop + at..]);
            for (slot, (a, b)) in samples[done..done + count].iter_mut().zip(pairs) {
                *slot = (a + b).clamp(-self.peak, self.peak) as f32;
            }
            done += count;
        }
    }

    /// Has the stretches `number` and the one before it at hand.
    fn prepare(&mut self, number: u64) {
        let has = |slot: &Option<(u64, Vec<f64>)>, wanted: u64| {
            slot.as_ref().is_some_and(|(number, _)| *number == wanted)
        };
        if has(&self.latest, number) {
            return;
        }
        let earlier = number.wrapping_sub(1);
        self.before = match self.latest.take() {
            Some(latest) if latest.0 == earlier => Some(latest),
            _ => Some((earlier, self.stretch(earlier))),
        };
        self.latest = Some((number, self.stretch(number)));
    }

    fn stretch(&mut self, number: u64) -> Vec<f64> {
        let size = 2 * self.hop;
        let mut spectrum = vec![Complex64::default(); size];
        let (low, high) = self.bins;
        let count = (high - low + 1) as f64;
        // A line of amplitude a has the power a²/2.
        let amplitude = self.peak / CREST * (2.0 / count).sqrt();
        for (place, bin) in (low..=high).enumerate() {
            let draw = number.wrapping_mul(size as u64).wrapping_add(place as u64);
            let phase = PI * noise::white(self.seed, draw);
            spectrum[bin] = Complex64::from_polar(amplitude * size as f64, phase);
        }
        self.transform.inverse(&mut spectrum);
        let windowed = spectrum.iter().zip(&self.window);
        windowed.map(|(value, window)| value.re * window).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rendered(first_frame: u64, count: usize) -> Vec<f32> {
        let mut samples = vec![0.0; count];
        Pilot::new(48_000.0, -20.0, 3).render(first_frame, &mut samples);
        samples
    }

    #[test]
    fn any_piece_is_the_same_whatever_was_rendered_before() {
        let whole = rendered(0, 20_000);
        assert_eq!(whole[5_000..9_000], rendered(5_000, 4_000));
        let mut pilot = Pilot::new(48_000.0, -20.0, 3);
        let mut late = vec![0.0; 100];
        pilot.render(19_000, &mut late);
        pilot.render(300, &mut late);
        assert_eq!(whole[300..400], late);
    }

    #[test]
    fn the_peak_is_the_level_and_the_rms_10_9_db_lower() {
        let samples = rendered(1 << 33, 480_000);
        let peak = samples.iter().fold(0.0_f32, |peak, x| peak.max(x.abs()));
        assert!((20.0 * f64::from(peak).log10() + 20.0).abs() < 0.01);
        let power: f64 = samples.iter().map(|x| f64::from(*x).powi(2)).sum();
        let rms_db = 10.0 * (power / samples.len() as f64).log10();
        // 20 lg 3.5 = 10.88 dB; what is cut off takes 0.01 dB.
        assert!((rms_db + 20.0 + 10.9).abs() < 0.1, "{rms_db}");
    }

    #[test]
    fn a_second_is_like_no_other_within_the_first_1000() {
        // D = 2 x 1 s x 6.8 kHz: independent seconds correlate below 5 / sqrt(D) = 0.043.
        let first = rendered(0, 48_000);
        let norm: f64 = first.iter().map(|x| f64::from(*x).powi(2)).sum();
        for second in [1, 2, 10, 999] {
            let other = rendered(second * 48_000, 48_000);
            let pairs = first.iter().zip(&other);
            let likeness: f64 = pairs.map(|(a, b)| f64::from(*a) * f64::from(*b)).sum();
            assert!((likeness / norm).abs() < 0.043, "second {second}");
        }
    }
}
