//! The fine delays of both bursts, and what their difference says of the clock.

use std::f64::consts::TAU;
use std::ops::Range;

use rustfft::num_complex::Complex64;

use super::read::ClockReader;
use crate::burst::{self, End};
use crate::fft::{Transform, smooth_size};
use crate::stimulus::Layout;
use crate::window::flat_top;

/// Band in Hz that the bursts are compared in.
const BAND_HZ: [f64; 2] = [220.0, 10_500.0];
/// Silence that is read before and after a burst, in seconds.
const MARGINS_S: [f64; 2] = [0.03, 0.06];
/// Gate round the peak of a burst's response in seconds: its rise, and its ends.
const GATE_S: [f64; 2] = [-0.004, 0.008];
/// Largest skew that is believed, as a ratio.
const SKEW_MAX: f64 = 400e-6;
/// How often the fit is repeated with the clock that it found.
const ROUNDS: usize = 3;

/// Where both bursts lie in a recording.
#[derive(Debug, Clone)]
pub(super) struct Ends {
    /// Position of the opening burst's first frame in the recording, in its frames.
    pub(super) opening_position: f64,
    /// Recorded frames per stimulus frame, minus 1.
    pub(super) skew: f64,
    /// One standard deviation of `skew`.
    pub(super) skew_uncertainty: f64,
    /// Frames by which the closing burst is later than clock and opening burst explain; 0 unless
    /// the bursts themselves contradict a steady clock.
    pub(super) step_frames: f64,
    /// The clock as the bursts tell it within themselves, whatever lies between them: value, σ.
    pub(super) local_skew: [f64; 2],
    /// -1 where the recording is inverted, else 1.
    pub(super) polarity: f64,
}

/// What one round of the fit found.
struct Fit {
    /// Frames by which the closing burst moved against the opening one: value, σ.
    shift_frames: [f64; 2],
    /// Change of the skew seen within the bursts: value, σ.
    skew_change: [f64; 2],
    polarity: f64,
    /// Frames from where the opening burst was read to its peak.
    peak_frames: f64,
}

impl Ends {
    /// Refines the places `opening` and `closing` (frames of the recording, to a sample or so).
    pub(super) fn measure(
        sent: &[f64],
        layout: &Layout,
        clock: &ClockReader,
        samples: &[f32],
        [opening, closing]: [i64; 2],
    ) -> Self {
        let apart = (layout.closing.start - layout.opening.start) as f64;
        let reader = Reader::new(sent, layout, clock);
        let (mut from, mut to) = (opening as f64, closing as f64);
        let mut ends = Self {
            opening_position: from,
            skew: 0.0,
            skew_uncertainty: 0.0,
            step_frames: 0.0,
            local_skew: [0.0; 2],
            polarity: 1.0,
        };
        let mut skew = plausible((to - from) / apart - 1.0).unwrap_or(0.0);
        for round in 0..ROUNDS {
            let fit = reader.fit(samples, from, to, skew);
            if round == 0 {
                from += fit.peak_frames;
                to += fit.peak_frames;
            }
            to += fit.shift_frames[0];
            let steady = (to - from) / apart - 1.0;
            let local = [skew + fit.skew_change[0], fit.skew_change[1]];
            let contradiction = (local[0] - steady).abs() > 5.0 * local[1] + 0.5e-6;
            skew = match plausible(steady) {
                Some(steady) if !contradiction => steady,
                // A step of the delay: the clock is as the bursts tell it within themselves.
                _ => plausible(local[0])
                    .filter(|s| s.abs() > 4.0 * local[1])
                    .unwrap_or(0.0),
            };
            ends = Self {
                opening_position: from,
                skew,
                skew_uncertainty: fit.shift_frames[1] / apart,
                step_frames: to - from - apart * (1.0 + skew),
                local_skew: local,
                polarity: fit.polarity,
            };
        }
        if ends.step_frames.abs() > 1e-6 {
            ends.skew_uncertainty = ends.local_skew[1];
        } else {
            ends.step_frames = 0.0;
        }
        ends
    }
}

fn plausible(skew: f64) -> Option<f64> {
    (skew.abs() <= SKEW_MAX).then_some(skew)
}

/// Reads bursts out of a recording and compares them.
struct Reader<'a> {
    layout: &'a Layout,
    clock: &'a ClockReader,
    margins: [usize; 2],
    size: usize,
    /// Spectra of the sent bursts, opening and closing.
    sent: [Vec<Complex64>; 2],
}

impl<'a> Reader<'a> {
    fn new(sent: &[f64], layout: &'a Layout, clock: &'a ClockReader) -> Self {
        let margins = MARGINS_S.map(|seconds| (seconds * layout.rate_hz) as usize);
        let size = smooth_size(layout.opening.len() + margins[0] + margins[1]);
        let burst = |range: &Range<usize>| {
            let mut padded = vec![0.0; margins[0]];
            padded.extend_from_slice(&sent[range.clone()]);
            padded
        };
        let sent =
            Transform::new(size).forward_pair(&burst(&layout.opening), &burst(&layout.closing));
        Self {
            layout,
            clock,
            margins,
            size,
            sent,
        }
    }

    /// Compares the bursts that begin at `from` and `to`, read on a clock that is off by `skew`.
    fn fit(&self, samples: &[f32], from: f64, to: f64, skew: f64) -> Fit {
        let mut transform = Transform::new(self.size);
        let [opening, closing] = [from, to].map(|first| self.read(samples, first, skew));
        let mut spectra = transform.forward_pair(&opening, &closing);
        for (returned, sent) in spectra.iter_mut().zip(&self.sent) {
            self.divide(returned, sent);
        }
        let responses = transform.inverse_pair(&spectra[0], &spectra[1]);
        let peak = peak_index(&responses[0]);
        let polarity = responses[0][peak].signum();
        let gated = responses.map(|response| self.gate(&response, peak));
        let gated = transform.forward_pair(&gated[0], &gated[1]);
        let size = self.size as f64;
        let peak_frames = if peak > self.size / 2 {
            peak as f64 - size
        } else {
            peak as f64
        };
        let (shift_frames, skew_change) = self.line(&gated);
        Fit {
            shift_frames,
            skew_change,
            polarity,
            peak_frames,
        }
    }

    /// Samples round a burst that begins at `first`, on a clock that is off by `skew`.
    fn read(&self, samples: &[f32], first: f64, skew: f64) -> Vec<f64> {
        let step = 1.0 + skew;
        let start = first - self.margins[0] as f64 * step;
        self.clock.read(samples, start, step, self.size)
    }

    /// Spectral division within the band, 0 outside.
    fn divide(&self, returned: &mut [Complex64], sent: &[Complex64]) {
        let per_bin_hz = self.layout.rate_hz / self.size as f64;
        for (bin, (value, sent)) in returned.iter_mut().zip(sent).enumerate() {
            let pass = in_band(bin as f64 * per_bin_hz);
            *value = if pass > 0.0 {
                *value * sent.conj() * (pass / sent.norm_sqr())
            } else {
                Complex64::default()
            };
        }
    }

    /// The response within [`GATE_S`] of `peak`.
    fn gate(&self, response: &[f64], peak: usize) -> Vec<f64> {
        let size = self.size as i64;
        let rate_hz = self.layout.rate_hz;
        let mut gated = vec![0.0; response.len()];
        for (index, sample) in gated.iter_mut().enumerate() {
            let mut lag = index as i64 - peak as i64;
            if lag > size / 2 {
                lag -= size;
            } else if lag < -size / 2 {
                lag += size;
            }
            let lag_s = lag as f64 / rate_hz;
            *sample = response[index] * flat_top(lag_s, GATE_S[0], 0.002, 0.003, GATE_S[1]);
        }
        gated
    }

    /// Fits `phase = -2 pi f (shift + skew u(f))` to the phase of closing over opening burst,
    /// `u` the time between their passing `f` beyond that between their beginnings. The weight is
    /// the inverse of the phase's variance in white noise; σ comes from the scatter.
    fn line(&self, gated: &[Vec<Complex64>; 2]) -> ([f64; 2], [f64; 2]) {
        let per_bin_hz = self.layout.rate_hz / self.size as f64;
        let bins = (BAND_HZ[0] / per_bin_hz).ceil() as usize..(BAND_HZ[1] / per_bin_hz) as usize;
        let rows: Vec<[f64; 4]> = bins
            .map(|bin| {
                let frequency_hz = bin as f64 * per_bin_hz;
                let cross = gated[1][bin] * gated[0][bin].conj();
                let weight = cross.norm() * self.sent[0][bin].norm_sqr();
                let apart_s = burst::time_of_s(End::Closing, frequency_hz)
                    - burst::time_of_s(End::Opening, frequency_hz);
                let slope = -TAU * frequency_hz;
                [weight, slope, slope * apart_s, cross.arg()]
            })
            .collect();
        let sum =
            |f: &dyn Fn(&[f64; 4]) -> f64| rows.iter().map(|row| row[0] * f(row)).sum::<f64>();
        let (aa, ab, bb) = (
            sum(&|r| r[1] * r[1]),
            sum(&|r| r[1] * r[2]),
            sum(&|r| r[2] * r[2]),
        );
        let (ay, by) = (sum(&|r| r[1] * r[3]), sum(&|r| r[2] * r[3]));
        let determinant = aa * bb - ab * ab;
        let skew = (aa * by - ab * ay) / determinant;
        let shift_with_skew = (bb * ay - ab * by) / determinant;
        let scatter = sum(&|r| (r[3] - shift_with_skew * r[1] - skew * r[2]).powi(2));
        // Neighbouring bins share the gate's resolution, the inverse of the integral of its square:
        // so many stand for one.
        let gate_s = GATE_S[1] - GATE_S[0] - 5.0 / 8.0 * 0.005;
        let alike = (1.0 / (gate_s * per_bin_hz)).max(1.0);
        let variance = scatter / rows.len() as f64 * alike;
        // The shift is that of a steady clock: the skew within the bursts is left to `skew`.
        let shift = ay / aa;
        let rate_hz = self.layout.rate_hz;
        (
            [shift * rate_hz, (variance / aa).sqrt() * rate_hz],
            [skew, (variance * aa / determinant).sqrt()],
        )
    }
}

fn in_band(frequency_hz: f64) -> f64 {
    let [low_hz, high_hz] = BAND_HZ;
    flat_top(
        frequency_hz,
        low_hz * 0.85,
        low_hz * 0.3,
        high_hz * 0.15,
        high_hz * 1.1,
    )
}

/// Index of the largest absolute sample.
fn peak_index(response: &[f64]) -> usize {
    (0..response.len())
        .max_by(|&a, &b| response[a].abs().total_cmp(&response[b].abs()))
        .unwrap_or(0)
}
