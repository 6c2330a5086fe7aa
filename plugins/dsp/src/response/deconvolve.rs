//! Each returned sweep divided by the sent one.

use std::f64::consts::{PI, TAU};
use std::fmt;
use std::ops::Range;

use rustfft::num_complex::Complex64;

use super::extend::{Heard, extend_down};
use super::gates::Gate;
use super::train::SweepTrain;
use crate::align::{Alignment, Track};
use crate::fft::{Transform, smooth_size};
use crate::sweep::Sweep;
use crate::window::flat_top;

/// Seconds round 0 in which the peak of a response is looked for: what alignment left, and steps.
const PEAK_WITHIN_S: f64 = 0.06;

/// Seconds on either side of the peak that are kept for comparisons: a step of [`PEAK_WITHIN_S`]
/// lies within.
const NEAR_S: f64 = 0.065;

/// How far the peak must stand above the RMS of the response's late lags. Gaussian noise of a
/// million samples reaches 5.3; unrelated sounds more, but no tenfold.
const PEAK_RATIO_MIN: f64 = 10.0;

/// Fades in seconds at the ends of a sweep's window, in which only noise sounds.
const FADES_S: [f64; 2] = [0.04, 0.06];

/// Bins at the bottom that an offset of the recording reaches.
const OFFSET_BINS: usize = 4;

/// Names of the channels.
const CHANNELS: [&str; 2] = ["link", "reference"];

/// One channel's answer to one sweep.
#[derive(Debug, Clone)]
pub struct Channel {
    /// Response at the bins of the transform, from 0 to half the rate, with its peak at lag 0;
    /// beyond the swept band continued without an edge.
    pub spectrum: Vec<Complex64>,
    /// Frames (of the recording's nominal rate, on the stimulus' clock) by which the response
    /// was late: what was taken out of `spectrum`.
    pub lag_frames: f64,
    /// Response from 0.065 s before its peak to 0.065 s after it, the peak in the middle.
    pub near: Vec<f64>,
}

/// What one sweep of a train gave.
#[derive(Debug, Clone)]
pub struct SweepResponse {
    /// The link's return against what was sent.
    pub link: Channel,
    /// The reference's return against what was sent.
    pub reference: Option<Channel>,
    /// Size of the transform.
    pub size: usize,
    /// Frames of the recording that were transformed, from a little before the sweep on; the rest of the circle is silence.
    pub window_frames: usize,
    /// Rate in Hz of lags and bins.
    pub rate_hz: f64,
}

impl Channel {
    /// Mean power of the response over `bins`.
    #[must_use]
    pub fn power(&self, bins: Range<usize>) -> f64 {
        let count = bins.len().max(1) as f64;
        self.spectrum[bins]
            .iter()
            .map(Complex64::norm_sqr)
            .sum::<f64>()
            / count
    }
}

impl SweepResponse {
    /// Bins from `from_hz` to `to_hz`, below half the rate.
    #[must_use]
    pub fn bins(&self, from_hz: f64, to_hz: f64) -> Range<usize> {
        let per_bin_hz = self.rate_hz / self.size as f64;
        (from_hz / per_bin_hz).ceil() as usize..(to_hz / per_bin_hz) as usize + 1
    }
}

/// No response stands out of the noise where the bursts said that it would be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoResponse {
    /// `link` or `reference`.
    pub which: &'static str,
    /// Peak of the response over the RMS of its late lags.
    pub peak_ratio: f64,
}

impl fmt::Display for NoResponse {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "the {}'s return holds the alignment bursts but no answer to the sweep: its peak stands \
             only {:.1} times above the rest, at least {PEAK_RATIO_MIN} is needed",
            self.which, self.peak_ratio
        )
    }
}

impl std::error::Error for NoResponse {}

/// Divides every sweep of `train` in `alignment` by what was sent, circularly: harmonic N of a
/// distorting link then lies at lag `-L ln N`.
///
/// # Errors
/// [`NoResponse`] where a return does not answer to a sweep.
pub fn deconvolve(
    alignment: &Alignment,
    train: &SweepTrain,
) -> Result<Vec<SweepResponse>, NoResponse> {
    let window = train.window(&alignment.layout, 0);
    let mut divider = Divider {
        transform: Transform::new(smooth_size(window.len())),
        rate_hz: alignment.layout.rate_hz,
        sweep: *train.sweep(),
    };
    (0..train.amplitudes().len())
        .map(|index| divider.response(alignment, train, index))
        .collect()
}

struct Divider {
    transform: Transform,
    rate_hz: f64,
    sweep: Sweep,
}

impl Divider {
    fn response(
        &mut self,
        alignment: &Alignment,
        train: &SweepTrain,
        index: usize,
    ) -> Result<SweepResponse, NoResponse> {
        let window = train.window(&alignment.layout, index);
        let [sent, _] = self
            .transform
            .forward_pair(&alignment.sent[window.clone()], &[]);
        let part = |track: &Track| faded(&track.samples[window.clone()], self.rate_hz);
        let link = part(&alignment.link);
        let reference = alignment.reference.as_ref().map(part).unwrap_or_default();
        let mut spectra = self.transform.forward_pair(&link, &reference);
        let signs = [
            alignment.link.polarity,
            alignment
                .reference
                .as_ref()
                .map_or(1.0, |track| track.polarity),
        ];
        let mut below = Vec::with_capacity(2);
        for (spectrum, sign) in spectra.iter_mut().zip(signs) {
            below.push(self.divide(spectrum, &sent, sign));
        }
        let trust = self.trust(&sent);
        let responses = self.transform.inverse_pair(&spectra[0], &spectra[1]);
        let [link, reference] = spectra;
        let mut centre = |spectrum, number: usize| {
            let heard = Heard {
                spectrum: &mut below[number],
                trust: &trust,
            };
            self.centre(spectrum, &responses[number], heard, CHANNELS[number])
        };
        let link = centre(link, 0)?;
        let reference = match alignment.reference {
            Some(_) => Some(centre(reference, 1)?),
            None => None,
        };
        Ok(SweepResponse {
            link,
            reference,
            size: self.transform.size(),
            window_frames: window.len(),
            rate_hz: self.rate_hz,
        })
    }

    /// `Y / X` where the sweep is strong; beyond, the value at the edge goes on. Gives `Y / X`
    /// below the lower edge.
    fn divide(&self, spectrum: &mut [Complex64], sent: &[Complex64], sign: f64) -> Vec<Complex64> {
        let [low, high] = self.edges();
        for (value, sent) in spectrum[..=high].iter_mut().zip(sent) {
            *value *= sent.conj() / sent.norm_sqr().max(f64::MIN_POSITIVE);
        }
        let below = spectrum[..low].to_vec();
        continue_down(spectrum, low, sign);
        continue_up(spectrum, high);
        below
    }

    /// What a bin below the lower edge is worth: the sweep's energy against that at the edge. The
    /// first ones hold the recording's offset.
    fn trust(&self, sent: &[Complex64]) -> Vec<f64> {
        let [low, _] = self.edges();
        let edge = sent[low].norm_sqr();
        let worth = |bin: usize| {
            if bin < OFFSET_BINS {
                0.0
            } else {
                sent[bin].norm_sqr() / edge
            }
        };
        (0..low).map(worth).collect()
    }

    /// First and last bin at which the sweep has half of its amplitude: half an octave, or half
    /// of the fade, beyond the asked band.
    fn edges(&self) -> [usize; 2] {
        let per_bin_hz = self.rate_hz / self.transform.size() as f64;
        let low_hz = (self.sweep.begin_hz * self.sweep.start_hz).sqrt();
        let high_hz = (self.sweep.stop_hz * self.sweep.end_hz).sqrt();
        let high_hz = high_hz.min(0.497 * self.rate_hz);
        [
            ((low_hz / per_bin_hz).ceil() as usize).max(1),
            (high_hz / per_bin_hz) as usize,
        ]
    }

    /// Moves the peak of the response to lag 0.
    fn centre(
        &self,
        mut spectrum: Vec<Complex64>,
        response: &[f64],
        heard: Heard<'_>,
        which: &'static str,
    ) -> Result<Channel, NoResponse> {
        let size = response.len();
        let reach = (PEAK_WITHIN_S * self.rate_hz) as usize;
        let lags = (0..reach).chain(size - reach..size);
        let peak = lags
            .max_by(|&a, &b| response[a].abs().total_cmp(&response[b].abs()))
            .unwrap_or(0);
        // Lags at which a response has died away and no harmonic begins.
        let late = &response[size / 4..size / 2];
        let rest = (late.iter().map(|x| x * x).sum::<f64>() / late.len() as f64).sqrt();
        let peak_ratio = response[peak].abs() / rest.max(f64::MIN_POSITIVE);
        if peak_ratio.is_nan() || peak_ratio < PEAK_RATIO_MIN {
            return Err(NoResponse { which, peak_ratio });
        }
        let lag = if peak > size / 2 {
            peak as f64 - size as f64
        } else {
            peak as f64
        };
        delay(&mut spectrum, -lag, size);
        delay(heard.spectrum, -lag, size);
        let [low, high] = self.edges();
        let sign = response[peak].signum();
        continue_down(&mut spectrum, low, sign);
        continue_up(&mut spectrum, high);
        let circle_s = size as f64 / self.rate_hz;
        extend_down(
            &mut spectrum,
            &heard,
            &Gate::early(&self.sweep, circle_s),
            circle_s,
        );
        Ok(Channel {
            spectrum,
            lag_frames: lag,
            near: near(response, peak, self.rate_hz),
        })
    }
}

/// What lies within [`NEAR_S`] of the peak of a circular `response`.
pub(super) fn near(response: &[f64], peak: usize, rate_hz: f64) -> Vec<f64> {
    let reach = (NEAR_S * rate_hz) as usize;
    let first = peak + response.len() - reach;
    (first..first + 2 * reach)
        .map(|index| response[index % response.len()])
        .collect()
}

/// A window of a recording without its mean, its ends faded: hum and offset that go on beyond it
/// would else end in steps, whose spectrum reaches everywhere.
fn faded(samples: &[f64], rate_hz: f64) -> Vec<f64> {
    let mean = offset(samples);
    let window_s = samples.len() as f64 / rate_hz;
    samples
        .iter()
        .enumerate()
        .map(|(index, &sample)| (sample - mean) * fades(index as f64 / rate_hz, window_s))
        .collect()
}

/// The recording's offset: its mean under Hann's window, which the low frequencies at the
/// sweep's beginning hardly pass.
fn offset(samples: &[f64]) -> f64 {
    let turn = Complex64::cis(TAU / samples.len() as f64);
    let mut phasor = Complex64::new(1.0, 0.0);
    let mut sum = 0.0;
    for sample in samples {
        sum += sample * (1.0 - phasor.re);
        phasor *= turn;
    }
    sum / samples.len() as f64
}

/// Weight of a window of `window_s` seconds, `time_s` after its beginning.
pub(super) fn fades(time_s: f64, window_s: f64) -> f64 {
    flat_top(time_s, 0.0, FADES_S[0], FADES_S[1], window_s)
}

/// Delays a half spectrum of a transform of `size` by `frames`.
pub(super) fn delay(spectrum: &mut [Complex64], frames: f64, size: usize) {
    if frames != 0.0 {
        turn(spectrum, -TAU * frames / size as f64);
    }
}

/// Turns value number n by `n * step` (rad).
fn turn(values: &mut [Complex64], step: f64) {
    // A turn is multiplied up over 64 values, then taken afresh: no error grows.
    let one = Complex64::cis(step);
    for (number, chunk) in values.chunks_mut(64).enumerate() {
        let mut phasor = Complex64::cis(step * (64 * number) as f64);
        for value in chunk {
            *value *= phasor;
            phasor *= one;
        }
    }
}

/// Below bin `low` the magnitude goes on, the phase runs straight to that of `sign` at 0.
fn continue_down(spectrum: &mut [Complex64], low: usize, sign: f64) {
    let edge = mean_at_edge(&spectrum[low..(low * 17 / 16).max(low + 2)], 0.0);
    let phase = (edge * sign).arg();
    spectrum[..low].fill((edge.norm() * sign).into());
    turn(&mut spectrum[..low], phase / low as f64);
}

/// Above bin `high` magnitude and delay go on.
fn continue_up(spectrum: &mut [Complex64], high: usize) {
    let from = high - high / 32;
    let turns: Complex64 = (from..high)
        .map(|bin| spectrum[bin + 1] * spectrum[bin].conj())
        .sum();
    let step = turns.arg();
    let edge =
        mean_at_edge(&spectrum[from..=high], step) * Complex64::cis(step * (high - from) as f64);
    let last = spectrum.len() - 1;
    let beyond = &mut spectrum[high + 1..];
    beyond.fill(edge * Complex64::cis(step));
    turn(beyond, step);
    // At half the rate a real signal has a real spectrum.
    spectrum[last].im = 0.0;
    debug_assert!(step.abs() <= PI);
}

/// Mean of `bins`, turned back by `step` a bin to the first of them.
fn mean_at_edge(bins: &[Complex64], step: f64) -> Complex64 {
    let sum: Complex64 = bins
        .iter()
        .enumerate()
        .map(|(index, value)| value * Complex64::cis(-step * index as f64))
        .sum();
    sum / bins.len() as f64
}
