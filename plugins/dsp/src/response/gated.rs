//! A response freed of its noise as far as that changes nothing else.

use rustfft::num_complex::Complex64;

use super::deconvolve::SweepResponse;
use super::gates::Gate;
use super::heard::Heard;
use super::point::Point;
use crate::fft::Transform;
use crate::sweep::Sweep;

/// Samples in single precision are off by 2^-24 / sqrt(3) of themselves (RMS, rounding to
/// nearest): no noise is taken to be less.
const ROUNDING: f64 = 3.4e-8;

/// Change by gating, relative to the response, that is always allowed: 0.0002 dB.
const HARMLESS: f64 = 2.5e-5;

/// Half widths in octaves over which the change by gating is compared with the noise: wide, for
/// small changes, and narrow, for sharp ones.
const COMPARED_OCTAVES: [f64; 2] = [1.0 / 6.0, 1.0 / 48.0];

/// Least number of independent values in a comparison.
const COMPARED_MIN: f64 = 40.0;

/// A response is compared at some thousand independent places, and a longer gate that chance takes
/// at one of them costs accuracy: one response in a thousand may suffer it.
const CHANCE: f64 = 1e6;

/// A link's response under several gates, of which each frequency takes the shortest that loses
/// nothing but noise.
///
/// The noise density of the response comes from its late lags, where the response itself has
/// ended. A gate is long enough where what the next longer one would add, its power averaged over
/// a third and over a twenty-fourth of an octave, is what the noise explains: a response that
/// dies away shows there first, while a distant lag that is strong by itself (an alias of a
/// harmonic, a click) is none of it. Own design; the bound that it approaches: noise of a gated
/// sweep `2 N0 f T / (A^2 L)`.
pub struct Gated {
    gates: Vec<Gate>,
    per_bin_hz: f64,
    sweep: Sweep,
    /// Seconds of lags that the noise was taken from.
    noise_s: f64,
    channels: Vec<GatedChannel>,
}

/// One channel under all gates.
struct GatedChannel {
    /// Spectrum by gate, then bin.
    spectra: Vec<Vec<Complex64>>,
    /// By gate (all but the longest): running sum over bins of the power that the next longer one
    /// adds.
    cut_off: Vec<Vec<f64>>,
    /// Running sum over bins of the noise density (power per second of gate).
    noise: Vec<f64>,
}

impl Gated {
    /// Prepares `response` under gates of `lengths_s` (rising) and the longest free one.
    #[must_use]
    pub fn new(response: &SweepResponse, sweep: &Sweep, lengths_s: &[f64]) -> Self {
        let circle_s = response.size as f64 / response.rate_hz;
        let gates = Gate::choice(lengths_s, sweep, circle_s);
        let noise_gate = Gate::noise(&gates[gates.len() - 1]);
        let silent = vec![Complex64::default(); response.link.spectrum.len()];
        let spectra = [
            &response.link.spectrum,
            response.reference.as_ref().map_or(&silent, |r| &r.spectrum),
        ];
        let mut transform = Transform::new(response.size);
        let responses = transform.inverse_pair(spectra[0], spectra[1]);
        let mut under = |gate: &Gate| -> [Vec<Complex64>; 2] {
            let gated = responses
                .each_ref()
                .map(|samples| weigh(samples, gate, response.rate_hz));
            transform.forward_pair(&gated[0], &gated[1])
        };
        let noise = under(&noise_gate);
        let by_gate: Vec<[Vec<Complex64>; 2]> = gates.iter().map(&mut under).collect();
        let count = if response.reference.is_some() { 2 } else { 1 };
        let mut by_channel: [Vec<Vec<Complex64>>; 2] = Default::default();
        for [link, reference] in by_gate {
            by_channel[0].push(link);
            by_channel[1].push(reference);
        }
        let heard = Heard::new(response, sweep, &noise_gate);
        let channels = by_channel
            .into_iter()
            .zip(&noise)
            .take(count)
            .map(|(spectra, noise)| GatedChannel::new(spectra, noise, &heard))
            .collect();
        Self {
            gates,
            per_bin_hz: response.rate_hz / response.size as f64,
            sweep: *sweep,
            noise_s: noise_gate.noise_s(),
            channels,
        }
    }

    /// The response of link over reference (over what was sent, without one) at `frequency_hz`,
    /// within the swept band.
    #[must_use]
    pub fn at(&self, frequency_hz: f64) -> Point {
        let index = self.gate_at(frequency_hz);
        let gate = &self.gates[index];
        let mut point = Point {
            frequency_hz,
            value: Complex64::new(1.0, 0.0),
            variance: 0.0,
            gate_s: gate.noise_s(),
        };
        for (number, channel) in self.channels.iter().enumerate() {
            let value = interpolated(&channel.spectra[index], frequency_hz / self.per_bin_hz);
            let noise = self.noise_density(channel, frequency_hz);
            let relative = noise * gate.noise_s() / value.norm_sqr().max(f64::MIN_POSITIVE);
            point.variance += relative;
            if number == 0 {
                point.value *= value;
            } else {
                point.value /= value;
            }
        }
        point
    }

    /// Ratio of signal to noise power of the link's return between two frequencies.
    ///
    /// The sweep's energy falls with f, so both sums run over `1 / f` times the response's.
    #[must_use]
    pub fn snr(&self, from_hz: f64, to_hz: f64) -> f64 {
        let link = &self.channels[0];
        let longest = self.gates.len() - 1;
        let bins = (from_hz / self.per_bin_hz).ceil() as usize..=(to_hz / self.per_bin_hz) as usize;
        let duration_s = self.sweep.time_constant_s * (to_hz / from_hz).ln();
        let (mut signal, mut noise) = (0.0, 0.0);
        for bin in bins {
            let frequency_hz = bin as f64 * self.per_bin_hz;
            let density = (link.noise[bin + 1] - link.noise[bin])
                .max(self.rounding(frequency_hz) * link.spectra[longest][bin].norm_sqr());
            let gate_s = self.gates[longest].noise_s();
            let power = link.spectra[longest][bin].norm_sqr() - density * gate_s;
            signal += power / frequency_hz;
            noise += density / frequency_hz;
        }
        (signal / (duration_s * noise)).max(1e-12)
    }

    /// Number of the gate that is long enough for every channel.
    fn gate_at(&self, frequency_hz: f64) -> usize {
        (0..self.gates.len() - 1)
            .find(|&gate| {
                self.channels
                    .iter()
                    .all(|channel| self.is_enough(channel, gate, frequency_hz))
            })
            .unwrap_or(self.gates.len() - 1)
    }

    fn is_enough(&self, channel: &GatedChannel, gate: usize, frequency_hz: f64) -> bool {
        let lost_s = self.gates[gate + 1].noise_s() - self.gates[gate].noise_s();
        let value = interpolated(
            &channel.spectra[self.gates.len() - 1],
            frequency_hz / self.per_bin_hz,
        );
        let harmless = (HARMLESS * value.norm()).powi(2);
        let noise = self.noise_density(channel, frequency_hz) * lost_s;
        COMPARED_OCTAVES.iter().all(|octaves| {
            let half_hz = (frequency_hz * (octaves.exp2() - 1.0)).max(0.5 * COMPARED_MIN / lost_s);
            // Both the loss and the noise that it is compared with are means of this many values.
            let scatter = 1.0 / (2.0 * half_hz * lost_s) + self.noise_scatter(frequency_hz);
            let lost = self.mean(&channel.cut_off[gate], frequency_hz, half_hz);
            lost <= harmless || lost <= noise * (1.0 + excess_by_chance(scatter))
        })
    }

    /// Noise density of a channel's response about `frequency_hz`, power per second of gate.
    fn noise_density(&self, channel: &GatedChannel, frequency_hz: f64) -> f64 {
        let last = &channel.spectra[self.gates.len() - 1];
        let value = interpolated(last, frequency_hz / self.per_bin_hz).norm_sqr();
        self.mean(
            &channel.noise,
            frequency_hz,
            self.noise_half_hz(frequency_hz),
        )
        .max(self.rounding(frequency_hz) * value)
    }

    /// Half width in Hz that the noise density is averaged over: a third of an octave, or what
    /// holds six bins.
    fn noise_half_hz(&self, frequency_hz: f64) -> f64 {
        (frequency_hz * 0.12).max(6.0 * self.per_bin_hz)
    }

    /// Relative variance of the noise density.
    fn noise_scatter(&self, frequency_hz: f64) -> f64 {
        1.0 / (2.0 * self.noise_half_hz(frequency_hz) * self.noise_s)
    }

    /// Noise density of single-precision samples, relative to the response's power: white noise
    /// of `ROUNDING A` against the sweep's energy `A^2 L / (4 f)`.
    fn rounding(&self, frequency_hz: f64) -> f64 {
        let sweep = &self.sweep;
        ROUNDING.powi(2) * 4.0 * frequency_hz / (sweep.time_constant_s * self.rate_hz())
    }

    fn rate_hz(&self) -> f64 {
        self.per_bin_hz * 2.0 * (self.channels[0].spectra[0].len() - 1) as f64
    }

    /// Mean of what `sums` is the running sum of, over `half_hz` on either side, within the band.
    fn mean(&self, sums: &[f64], frequency_hz: f64, half_hz: f64) -> f64 {
        let low_hz = (frequency_hz - half_hz).max(0.8 * self.sweep.start_hz);
        let high_hz = (frequency_hz + half_hz).min(self.sweep.stop_hz * 1.02);
        let from = ((low_hz / self.per_bin_hz) as usize).min(sums.len() - 2);
        let to = ((high_hz / self.per_bin_hz) as usize + 1).clamp(from + 1, sums.len() - 1);
        (sums[to] - sums[from]) / (to - from) as f64
    }
}

impl GatedChannel {
    fn new(spectra: Vec<Vec<Complex64>>, noise: &[Complex64], heard: &Heard) -> Self {
        let cut_off = spectra
            .windows(2)
            .map(|pair| {
                let lost = pair[0].iter().zip(&pair[1]);
                running_sum(lost.map(|(a, b)| (a - b).norm_sqr()))
            })
            .collect();
        let density = |(bin, value): (usize, &Complex64)| value.norm_sqr() / heard.seconds(bin);
        let noise = running_sum(noise.iter().enumerate().map(density));
        Self {
            spectra,
            cut_off,
            noise,
        }
    }
}

/// Relative excess over its mean that a noise power of relative variance `scatter` has by chance
/// in fewer than one of [`CHANCE`] comparisons: `sqrt(2 t scatter) + t scatter` with
/// `t = ln CHANCE`. Source: Laurent and Massart, Ann. Statist. 28 (2000), lemma 1, for the
/// chi-squared distribution of `2 / scatter` degrees of freedom (from memory).
fn excess_by_chance(scatter: f64) -> f64 {
    let exponent = CHANCE.ln() * scatter;
    (2.0 * exponent).sqrt() + exponent
}

/// `sums[k]` is the sum of the first k values.
fn running_sum(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut total = 0.0;
    std::iter::once(0.0)
        .chain(values.map(|value| {
            total += value;
            total
        }))
        .collect()
}

/// A circular response under a gate.
fn weigh(samples: &[f64], gate: &Gate, rate_hz: f64) -> Vec<f64> {
    let size = samples.len() as i64;
    let mut weighed = vec![0.0; samples.len()];
    let first = (gate.from_s * rate_hz).ceil() as i64;
    let last = (gate.to_s * rate_hz).floor() as i64;
    for lag in first..=last.min(first + size - 1) {
        let index = lag.rem_euclid(size) as usize;
        weighed[index] = samples[index] * gate.weight(lag as f64 / rate_hz);
    }
    weighed
}

/// Cubic interpolation (Lagrange) of a spectrum at a fractional bin.
fn interpolated(spectrum: &[Complex64], bin: f64) -> Complex64 {
    let base = (bin.floor() as usize).clamp(1, spectrum.len() - 3);
    let x = bin - base as f64;
    let weights = [
        -x * (x - 1.0) * (x - 2.0) / 6.0,
        (x + 1.0) * (x - 1.0) * (x - 2.0) / 2.0,
        -(x + 1.0) * x * (x - 2.0) / 2.0,
        (x + 1.0) * x * (x - 1.0) / 6.0,
    ];
    (0..4)
        .map(|index| spectrum[base + index - 1] * weights[index])
        .sum()
}
