//! The noise of one return under the weightings, referred to the send.

use goodwire_dsp::decibel::power_db;
use goodwire_dsp::fft::{Transform, smooth_size};
use goodwire_dsp::quasi_peak::QuasiPeak;
use goodwire_dsp::spectrum::{Power, Spectrum};
use goodwire_dsp::weighting;
use goodwire_dsp::window::flat_top;

use crate::reading::Pieces;

/// Band in Hz of unweighted noise: AES17's upper and the usual lower limit.
pub const BAND_HZ: [f64; 2] = [20.0, 20_000.0];

/// Band in Hz of weighted RMS figures: below, the curves themselves are the limit.
const WEIGHTED_BAND_HZ: [f64; 2] = [1.0, 20_000.0];

/// Fades in seconds at the ends of what is filtered; twice as much is not read.
const FADE_S: f64 = 0.02;

/// Length in seconds of the moments that the noise's steadiness is told from.
const MOMENT_S: f64 = 0.25;

/// Readings of the detector so many seconds apart are independent.
const APART_S: f64 = 0.5;

/// A reading of the detector varies like a mean over so many seconds.
const DETECTOR_S: f64 = 0.316;

/// Seconds in which the detector is charged.
const CHARGE_S: f64 = 0.7;

/// Noise that changes by more than this in dB from moment to moment is told to be unsteady. White
/// noise changes by 0.4 dB at most in a thousand moments.
pub const UNSTEADY_DB: f64 = 3.0;

/// The weightings that a power spectrum is read under.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weighting {
    /// None.
    Flat,
    /// A, IEC 61672-1.
    A,
    /// The curve of ITU-R BS.468-4, 0 dB at 2 kHz, AES17.
    Ccir,
}

impl Weighting {
    /// Power of a spectrum up to 20 kHz.
    pub fn power(self, spectrum: &Spectrum) -> Power {
        match self {
            Self::Flat => spectrum.power(BAND_HZ, |_| 1.0),
            Self::A => spectrum.power(WEIGHTED_BAND_HZ, |f| weighting::a(f).powi(2)),
            Self::Ccir => spectrum.power(WEIGHTED_BAND_HZ, |f| weighting::ccir(f).powi(2)),
        }
    }
}

/// How loud the noise was from moment to moment, 468-weighted.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Steadiness {
    /// The loudest moment over the median one in dB.
    pub above_db: f64,
    /// The median moment over the quietest one in dB.
    pub below_db: f64,
    /// Variance of the mean power that the moments' scatter gives, relative.
    pub variance: f64,
}

impl Steadiness {
    /// A power whose variance counts what came and went, where something did.
    pub fn widened(self, power: Power) -> Power {
        let unsteady = self.above_db.max(self.below_db) > UNSTEADY_DB;
        let scatter = if unsteady { self.variance } else { 0.0 };
        Power {
            variance: power.variance.max(scatter * power.value.powi(2)),
            ..power
        }
    }
}

/// How the level of the silence is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reading {
    /// As a root mean square.
    Rms(Weighting),
    /// As the highest reading of the quasi-peak detector behind the curve of ITU-R BS.468-4.
    QuasiPeak,
}

/// The silence of one return.
pub struct Silence {
    /// Its spectrum.
    pub spectrum: Spectrum,
    /// Square of the highest quasi-peak reading.
    pub quasi_peak: Power,
    /// How steady it was.
    pub steadiness: Steadiness,
}

impl Silence {
    /// Its level, squared.
    pub fn read(&self, reading: Reading) -> Power {
        match reading {
            Reading::Rms(weighting) => self.steadiness.widened(weighting.power(&self.spectrum)),
            Reading::QuasiPeak => self.quasi_peak,
        }
    }
}

/// The noise of one return, referred to the send.
pub struct Weighted {
    /// Where nothing was sent.
    pub silence: Silence,
    /// Beside the tone: power of the tone, and the spectrum without it.
    pub tone: Option<(Power, Spectrum)>,
}

impl Weighted {
    /// Reads pieces whose powers at `f` Hz are to be multiplied by `factor(f)`.
    pub fn new(pieces: &Pieces<'_>, tone_hz: f64, factor: impl Fn(f64) -> f64) -> Self {
        let rate_hz = pieces.rate_hz;
        let silence: Vec<f64> = pieces.silence.iter().map(|&x| f64::from(x)).collect();
        let tone = pieces.tone.as_ref().map(|tone| {
            let amplitude = tone.amplitude;
            let power = Power {
                value: amplitude.value.powi(2) / 2.0,
                variance: (amplitude.value * amplitude.uncertainty).powi(2),
            };
            let spectrum = Spectrum::new(&tone.rest, rate_hz).scaled(&factor);
            (power.times(factor(tone_hz)), spectrum)
        });
        let spectrum = Spectrum::new(&silence, rate_hz).scaled(&factor);
        let (highest, steadiness) = quasi_peak(&silence, rate_hz, &factor);
        let relative = Weighting::Ccir.power(&spectrum).relative();
        let relative = highest_deviation(relative, silence.len() as f64 / rate_hz);
        let quasi_peak = Power {
            value: highest.powi(2),
            variance: (relative * highest.powi(2)).powi(2),
        };
        Self {
            silence: Silence {
                quasi_peak: steadiness.widened(quasi_peak),
                spectrum,
                steadiness,
            },
            tone,
        }
    }
}

/// Relative deviation of the highest squared reading in `seconds`, which noise alone moves from one
/// measurement to the next, from that of the mean power under the same curve.
///
/// A reading is a mean over [`DETECTOR_S`], so that it varies `sqrt(T / 0.32 s)` times as much as a
/// mean over all. The highest of `n` independent ones varies `pi / sqrt(12 ln n)` times as much as
/// one (Gumbel's law of the largest of `n` Gaussian values). Of 150 simulated readings (NumPy) of
/// white noise the deviation is 0.062, 0.045 and 0.039 dB in 2, 10 and 30 s; this gives 0.065,
/// 0.045 and 0.038 dB.
fn highest_deviation(relative: f64, seconds: f64) -> f64 {
    let independent = (seconds / APART_S).max(2.0);
    let gumbel = std::f64::consts::PI / (12.0 * independent.ln()).sqrt();
    gumbel * relative * (seconds / DETECTOR_S).sqrt()
}

/// Highest quasi-peak reading, and how steady the weighted noise was.
fn quasi_peak(samples: &[f64], rate_hz: f64, factor: impl Fn(f64) -> f64) -> (f64, Steadiness) {
    let weighted = weigh(samples, rate_hz, factor);
    let mut detector = QuasiPeak::new(rate_hz);
    // The detector is charged on the beginning, which counts only when it comes again.
    let charge = &weighted[..weighted.len().min((CHARGE_S * rate_hz) as usize)];
    for &sample in charge {
        detector.take(sample);
    }
    let highest = weighted.iter().map(|&sample| detector.take(sample));
    let highest = highest.fold(0f64, f64::max);
    let moments = weighted.chunks_exact((MOMENT_S * rate_hz) as usize);
    let power = |moment: &[f64]| moment.iter().map(|x| x * x).sum::<f64>() / moment.len() as f64;
    (highest, steadiness(moments.map(power).collect()))
}

/// Variance of values; 0 for fewer than two.
fn scatter(values: &[f64]) -> f64 {
    let count = values.len() as f64;
    if count < 2.0 {
        return 0.0;
    }
    let mean = values.iter().sum::<f64>() / count;
    values.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (count - 1.0)
}

/// The 468-weighted wave, without what the fades at its ends touch.
fn weigh(samples: &[f64], rate_hz: f64, factor: impl Fn(f64) -> f64) -> Vec<f64> {
    let count = samples.len();
    let mean = samples.iter().sum::<f64>() / count as f64;
    let (fade, length) = (FADE_S * rate_hz, count as f64);
    let faded: Vec<f64> = (0..count)
        .map(|n| (samples[n] - mean) * flat_top(n as f64 + 0.5, 0.0, fade, fade, length))
        .collect();
    // The network rings for some milliseconds: they are padded.
    let mut transform = Transform::new(smooth_size(count + fade as usize));
    let per_bin_hz = rate_hz / transform.size() as f64;
    let [mut spectrum, silent] = transform.forward_pair(&faded, &[]);
    for (bin, value) in spectrum.iter_mut().enumerate() {
        let frequency_hz = bin as f64 * per_bin_hz;
        *value *= weighting::itu_r_468(frequency_hz) * factor(frequency_hz).sqrt();
    }
    let [mut weighted, _] = transform.inverse_pair(&spectrum, &silent);
    let edge = (2.0 * fade) as usize;
    weighted.truncate(count - edge);
    weighted.drain(..edge);
    weighted
}

fn steadiness(mut powers: Vec<f64>) -> Steadiness {
    let count = powers.len() as f64;
    let mean = powers.iter().sum::<f64>() / count;
    let variance = scatter(&powers) / (count * mean * mean).max(f64::MIN_POSITIVE);
    powers.sort_by(f64::total_cmp);
    let (Some(&least), Some(&most)) = (powers.first(), powers.last()) else {
        return Steadiness::default();
    };
    let median = powers[powers.len() / 2];
    let over = |a: f64, b: f64| {
        let floor = most.max(f64::MIN_POSITIVE) * 1e-12;
        power_db(a.max(floor) / b.max(floor))
    };
    Steadiness {
        above_db: over(most, median),
        below_db: over(median, least),
        variance,
    }
}
