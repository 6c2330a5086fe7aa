//! The chirps of a stimulus, each as a short response.

use std::ops::Range;

use rustfft::num_complex::Complex64;

use super::super::deconvolve::{Channel, near};
use super::super::train::SweepTrain;
use crate::align::{Alignment, Track};
use crate::burst::{self, BURST_BAND_HZ, BURST_S, End};
use crate::fft::{Transform, smooth_size};
use crate::stimulus::Layout;
use crate::window::flat_top;

/// Band in Hz of a burst that its fades leave whole.
const BURST_WHOLE_HZ: [f64; 2] = [220.0, 11_500.0];
/// Silence in seconds that is read before a burst and after it.
const MARGINS_S: [f64; 2] = [0.04, 0.12];
/// Seconds about 0 in which a burst's response may peak.
const REACH_S: f64 = 0.06;

/// Which chirp a pass is.
enum Chirp<'a> {
    /// An alignment burst, and the seconds of the stimulus at which it begins.
    Burst(End, f64),
    /// A sweep of a train by its number.
    Sweep(&'a SweepTrain, &'a Layout, usize),
}

/// One pass over the band.
pub(super) struct Pass<'a> {
    chirp: Chirp<'a>,
    /// What it tells of: in Hz.
    pub(super) band_hz: [f64; 2],
    /// Energy in an octave, relative to those of other passes.
    pub(super) energy: f64,
    /// Frames by which its response was late: what was taken out of `spectrum`.
    pub(super) lag_frames: f64,
    /// Spectrum of its response about the peak.
    pub(super) spectrum: Vec<Complex64>,
    /// Hz from one bin to the next.
    pub(super) per_bin_hz: f64,
}

impl Pass<'_> {
    /// Seconds of the stimulus at which it passes `frequency_hz`.
    pub(super) fn time_s(&self, frequency_hz: f64) -> f64 {
        match self.chirp {
            Chirp::Burst(end, start_s) => start_s + burst::time_of_s(end, frequency_hz),
            Chirp::Sweep(train, layout, index) => train.time_of_s(layout, index, frequency_hz),
        }
    }
}

/// A response about its peak, and how late that is.
struct Heard {
    lag_frames: f64,
    response: Vec<f64>,
}

/// All passes of `track` in the order in which they were played.
pub(super) fn passes<'a>(
    alignment: &'a Alignment,
    track: &Track,
    train: &'a SweepTrain,
    sweeps: &[&Channel],
) -> Vec<Pass<'a>> {
    let layout = &alignment.layout;
    let [opening, closing] = bursts(alignment, track);
    let size = smooth_size(opening.response.len());
    let mut transform = Transform::new(size);
    let per_bin_hz = layout.rate_hz / size as f64;
    let mut of_burst = |end: End, range: &Range<usize>, heard: &Heard| Pass {
        chirp: Chirp::Burst(end, range.start as f64 / layout.rate_hz),
        band_hz: BURST_WHOLE_HZ,
        energy: burst_energy(&alignment.sent[range.clone()]),
        lag_frames: heard.lag_frames,
        spectrum: gated(&mut transform, &heard.response),
        per_bin_hz,
    };
    let first = of_burst(End::Opening, &layout.opening, &opening);
    let last = of_burst(End::Closing, &layout.closing, &closing);
    let mut passes = vec![first];
    let sweep = train.sweep();
    for (index, (channel, amplitude)) in sweeps.iter().zip(train.amplitudes()).enumerate() {
        passes.push(Pass {
            chirp: Chirp::Sweep(train, layout, index),
            band_hz: [sweep.start_hz, sweep.stop_hz],
            energy: amplitude * amplitude * sweep.time_constant_s,
            lag_frames: channel.lag_frames,
            spectrum: gated(&mut transform, &channel.near),
            per_bin_hz,
        });
    }
    passes.push(last);
    passes
}

/// `A^2 L` of the burst `sent`, whose peak is A.
fn burst_energy(sent: &[f64]) -> f64 {
    let peak = sent.iter().fold(0.0, |peak: f64, x| peak.max(x.abs()));
    peak * peak * BURST_S / (BURST_BAND_HZ[1] / BURST_BAND_HZ[0]).ln()
}

/// Spectrum of a response with faded ends.
fn gated(transform: &mut Transform, response: &[f64]) -> Vec<Complex64> {
    let len = response.len() as f64;
    let faded: Vec<f64> = response
        .iter()
        .enumerate()
        .map(|(n, x)| x * flat_top(n as f64, 0.0, len / 8.0, len / 8.0, len))
        .collect();
    let [mut spectrum, _] = transform.forward_pair(&faded, &[]);
    // The peak lies in the middle.
    let turn = std::f64::consts::TAU * (response.len() / 2) as f64 / transform.size() as f64;
    for (bin, value) in spectrum.iter_mut().enumerate() {
        *value *= Complex64::cis(turn * bin as f64);
    }
    spectrum
}

/// The responses to both bursts.
fn bursts(alignment: &Alignment, track: &Track) -> [Heard; 2] {
    let (layout, rate_hz) = (&alignment.layout, alignment.layout.rate_hz);
    let [before, after] = MARGINS_S.map(|seconds| (seconds * rate_hz) as usize);
    let size = smooth_size(layout.opening.len() + before + after);
    let mut transform = Transform::new(size);
    let ranges = [&layout.opening, &layout.closing];
    let sent = ranges.map(|range| &alignment.sent[range.clone()]);
    let sent = transform.forward_pair(sent[0], sent[1]);
    let heard = ranges.map(|range| {
        let from = range.start.saturating_sub(before);
        let to = (range.end + after).min(track.samples.len());
        let mut part = vec![0.0; before - (range.start - from)];
        part.extend_from_slice(&track.samples[from..to]);
        part
    });
    let mut spectra = transform.forward_pair(&heard[0], &heard[1]);
    let per_bin_hz = rate_hz / size as f64;
    for (spectrum, sent) in spectra.iter_mut().zip(&sent) {
        for (bin, (value, sent)) in spectrum.iter_mut().zip(sent).enumerate() {
            let pass = in_band(bin as f64 * per_bin_hz);
            // What was heard began `before` frames earlier than what was sent.
            let turn = std::f64::consts::TAU * (before * bin % size) as f64 / size as f64;
            *value = if pass > 0.0 {
                *value * sent.conj() * Complex64::cis(turn) * (pass / sent.norm_sqr())
            } else {
                Complex64::default()
            };
        }
    }
    let responses = transform.inverse_pair(&spectra[0], &spectra[1]);
    responses.map(|response| {
        let peak = peak_index(&response, (REACH_S * rate_hz) as usize);
        let late = if peak > size / 2 {
            peak as f64 - size as f64
        } else {
            peak as f64
        };
        Heard {
            lag_frames: late,
            response: near(&response, peak, rate_hz),
        }
    })
}

/// The band that a burst is divided in, with room for its soft edges beside what is used.
fn in_band(frequency_hz: f64) -> f64 {
    let [low_hz, high_hz] = BURST_WHOLE_HZ;
    flat_top(
        frequency_hz,
        0.75 * low_hz,
        0.2 * low_hz,
        900.0,
        high_hz + 1_200.0,
    )
}

/// Index of the largest absolute sample within `reach` of lag 0.
fn peak_index(response: &[f64], reach: usize) -> usize {
    (0..reach)
        .chain(response.len() - reach..response.len())
        .max_by(|&a, &b| response[a].abs().total_cmp(&response[b].abs()))
        .unwrap_or(0)
}
