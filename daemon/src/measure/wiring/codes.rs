//! The sounds of a wiring check, and whether a return hears one: noise of its own on each send, and
//! its correlation with what came back.
//!
//! The noise fills a band evenly, in random phases that follow from the send's number. A return's
//! sound is correlated with M frames of it at every delay up to a second. Where the send is not
//! heard, the correlation is a sum of M products that know nothing of each other, and so normally
//! distributed about 0; its deviation is the median of its magnitudes over 0.674 5, on which a peak
//! has no hand. The highest of N such values is above k deviations with a probability of at most
//! N erfc(k/√2) (Boole's inequality).

use std::f64::consts::PI;

use goodwire_dsp::{
    Complex64,
    fft::{Transform, smooth_size},
    noise,
};

/// The noise's band in Hz: what every link carries. Narrow enough that a link whose clock is off
/// by 50 ppm drifts by a quarter of a period of its middle in the time that is correlated.
const BAND_HZ: [f64; 2] = [200.0, 4000.0];
/// Links that sleep have so long to wake up before anything is correlated, in seconds.
const WAKE_S: f64 = 1.5;
/// So much noise is correlated, in seconds: 2 · 3800 Hz · 2.5 s = 19 000 independent values, so
/// that noise of the send's own level falls by 42.8 dB, and by 24.7 dB below what is told.
const CORRELATED_S: f64 = 2.5;
/// Longest delay, in seconds.
const DELAY_S: f64 = 1.0;
/// A peak of so many deviations is heard. For 48,000 delays, 9 sends, 9 returns and 9 levels
/// N erfc(8/√2) = 3.5e7 · 1.2e-15: one false alarm in 23 million checks.
const DEVIATIONS: f64 = 8.0;
/// Median of the magnitude of a standard normal value.
const MEDIAN_MAGNITUDE: f64 = 0.674_489_75;
/// The noise fades in and out so long, in seconds.
const FADE_S: f64 = 0.02;

/// What a return hears of a send.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heard {
    /// Gain in dB over the noise's band.
    pub gain_db: f64,
    /// From the send to the return, in ms.
    pub delay_ms: f64,
    /// True where the polarity is swapped.
    pub is_inverted: bool,
}

/// The noises of some sends, and the search for them.
pub struct Codes {
    rate_hz: f64,
    /// One a send, each with a peak of 1.
    noises: Vec<Vec<f32>>,
    /// Conjugate spectra of what is correlated.
    spectra: Vec<Vec<Complex64>>,
    transform: Transform,
    lead: usize,
    correlated: usize,
    delays: usize,
}

impl Codes {
    /// Noises for so many sends.
    #[must_use]
    pub fn new(send_count: usize, rate_hz: f64) -> Self {
        let frames = |seconds: f64| (seconds * rate_hz).round() as usize;
        let (lead, correlated, delays) = (frames(WAKE_S), frames(CORRELATED_S), frames(DELAY_S));
        let noises: Vec<Vec<f32>> = (0..send_count as u64)
            .map(|seed| render(seed, lead + correlated + delays, rate_hz))
            .collect();
        let mut transform = Transform::new(smooth_size(correlated + delays));
        let spectra = noises
            .iter()
            .map(|noise| {
                let piece = &noise[lead..lead + correlated];
                let mut spectrum = padded(piece, transform.size());
                transform.forward(&mut spectrum);
                spectrum.iter().map(Complex64::conj).collect()
            })
            .collect();
        Self {
            rate_hz,
            noises,
            spectra,
            transform,
            lead,
            correlated,
            delays,
        }
    }

    /// How long the noises last.
    #[must_use]
    pub fn frame_count(&self) -> usize {
        self.lead + self.correlated + self.delays
    }

    /// The noise of a send, from 0, with that peak (full scale = 1).
    #[must_use]
    pub fn noise(&self, send: usize, peak: f64) -> Vec<f32> {
        let noise = self.noises[send].iter();
        noise.map(|x| (f64::from(*x) * peak) as f32).collect()
    }

    /// What a return, which heard all the frames, hears of each send; `peaks` are those of the
    /// sends. `None` where a send is not heard. Silence hears nothing.
    pub fn heard(&mut self, returned: &[f32], peaks: &[f64]) -> Vec<Option<Heard>> {
        let end = self.frame_count().min(returned.len());
        let mut spectrum = padded(&returned[self.lead.min(end)..end], self.transform.size());
        self.transform.forward(&mut spectrum);
        (0..self.noises.len())
            .map(|send| self.correlate(&spectrum, send, peaks[send]))
            .collect()
    }

    fn correlate(&mut self, returned: &[Complex64], send: usize, peak: f64) -> Option<Heard> {
        let pairs = returned.iter().zip(&self.spectra[send]);
        let mut product: Vec<Complex64> = pairs.map(|(a, b)| a * b).collect();
        self.transform.inverse(&mut product);
        let likeness: Vec<f64> = product[..self.delays].iter().map(|x| x.re).collect();
        let mut sizes: Vec<f64> = likeness.iter().map(|x| x.abs()).collect();
        let middle = sizes.len() / 2;
        let median = *sizes.select_nth_unstable_by(middle, f64::total_cmp).1;
        let best =
            (0..likeness.len()).max_by(|&a, &b| likeness[a].abs().total_cmp(&likeness[b].abs()))?;
        if likeness[best].abs() <= DEVIATIONS * median / MEDIAN_MAGNITUDE {
            return None;
        }
        let (place, height) = top(&likeness, best);
        let piece = &self.noises[send][self.lead..self.lead + self.correlated];
        let energy: f64 = piece.iter().map(|x| f64::from(*x).powi(2)).sum();
        Some(Heard {
            gain_db: 20.0 * (height.abs() / (energy * peak)).log10(),
            delay_ms: 1000.0 * place / self.rate_hz,
            is_inverted: height < 0.0,
        })
    }
}

/// Noise of a flat band in random phases, with a peak of 1, faded in and out.
fn render(seed: u64, frame_count: usize, rate_hz: f64) -> Vec<f32> {
    let size = smooth_size(frame_count);
    let bin = |hz: f64| (hz / rate_hz * size as f64).round() as usize;
    let mut spectrum = vec![Complex64::default(); size];
    for (k, line) in (0_u64..).zip(&mut spectrum) {
        if (bin(BAND_HZ[0])..=bin(BAND_HZ[1])).contains(&(k as usize)) {
            *line = Complex64::from_polar(1.0, PI * noise::white(seed, k));
        }
    }
    Transform::new(size).inverse(&mut spectrum);
    let sound = &spectrum[..frame_count];
    let peak = sound.iter().fold(0.0, |peak: f64, x| peak.max(x.re.abs()));
    let fade = |at: usize| {
        let share = (at as f64 / (FADE_S * rate_hz)).min(1.0);
        0.5 - 0.5 * (PI * share).cos()
    };
    let faded =
        |(n, x): (usize, &Complex64)| (x.re / peak * fade(n) * fade(frame_count - 1 - n)) as f32;
    sound.iter().enumerate().map(faded).collect()
}

fn padded(samples: &[f32], size: usize) -> Vec<Complex64> {
    let mut spectrum = vec![Complex64::default(); size];
    for (line, sample) in spectrum.iter_mut().zip(samples) {
        line.re = f64::from(*sample);
    }
    spectrum
}

/// Place and height of the top of the parabola through a peak and its neighbours.
fn top(values: &[f64], best: usize) -> (f64, f64) {
    let height = values[best];
    let (Some(before), Some(after)) = (best.checked_sub(1), values.get(best + 1)) else {
        return (best as f64, height);
    };
    let before = values[before];
    let bend = before - 2.0 * height + after;
    if bend == 0.0 {
        return (best as f64, height);
    }
    let shift = 0.5 * (before - after) / bend;
    (
        best as f64 + shift,
        height - 0.25 * (before - after) * shift,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f64 = 48_000.0;

    /// White noise of an RMS in dBFS of a sine.
    fn noise(level_dbfs: f64, seed: u64, count: usize) -> Vec<f32> {
        let rms = 10_f64.powf(level_dbfs / 20.0) / 2_f64.sqrt();
        let sample = |n| (rms * noise::gaussian(seed, n)) as f32;
        (0..count as u64).map(sample).collect()
    }

    fn add(to: &mut [f32], sound: &[f32], delay: usize, factor: f32) {
        for (to, x) in to[delay..].iter_mut().zip(sound) {
            *to += factor * x;
        }
    }

    #[test]
    fn an_inverted_link_3_db_down_and_10_ms_late_is_told_beside_a_louder_one() {
        let mut codes = Codes::new(3, RATE_HZ);
        let mut returned = vec![0.0; codes.frame_count()];
        let (own, other) = (codes.noise(0, 0.01), codes.noise(1, 0.01));
        add(&mut returned, &own, 480, -0.707_945_8);
        add(&mut returned, &other, 0, 1.0);
        let heard = codes.heard(&returned, &[0.01; 3]);
        let own = heard[0].expect("it is heard");
        assert!((own.gain_db + 3.0).abs() < 0.2, "{own:?}");
        assert!((own.delay_ms - 10.0).abs() < 0.01, "{own:?}");
        assert!(own.is_inverted && !heard[1].expect("too").is_inverted);
        assert_eq!(heard[2], None);
    }

    #[test]
    fn in_noise_of_minus_60_dbfs_noise_of_minus_80_dbfs_is_told_by_20_seeds() {
        let mut codes = Codes::new(1, RATE_HZ);
        let own = codes.noise(0, 1e-4);
        for seed in 0..20 {
            let mut returned = noise(-60.0, seed, codes.frame_count());
            add(&mut returned, &own, 200, 1.0);
            let heard = codes.heard(&returned, &[1e-4])[0].expect("it is heard");
            assert!((heard.delay_ms - 200.0 / 48.0).abs() < 0.05, "{heard:?}");
        }
    }

    #[test]
    fn noise_hum_silence_and_another_sends_noise_are_heard_as_nothing_by_50_seeds() {
        let mut codes = Codes::new(2, RATE_HZ);
        let count = codes.frame_count();
        let other = codes.noise(1, 0.1);
        for seed in 0..50 {
            let mut returned = noise(-40.0, seed, count);
            if seed % 2 == 0 {
                add(&mut returned, &other, 100, 1.0);
            }
            for (n, x) in returned.iter_mut().enumerate() {
                *x += 0.01 * (n as f32 * 0.041).sin();
            }
            assert_eq!(codes.heard(&returned, &[0.1; 2])[0], None, "seed {seed}");
        }
        assert_eq!(codes.heard(&vec![0.0; count], &[0.1; 2]), [None, None]);
    }

    #[test]
    fn no_noise_is_above_its_peak() {
        let codes = Codes::new(2, 44_100.0);
        for send in 0..2 {
            let noise = codes.noise(send, 0.01);
            let peak = noise.iter().fold(0.0_f32, |peak, x| peak.max(x.abs()));
            assert!((0.0099..=0.010_000_1).contains(&peak), "{peak}");
        }
    }
}
