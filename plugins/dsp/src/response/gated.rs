//! A response freed of its noise as far as that changes nothing else.

mod before;
mod floor;
mod spectrum;
mod sums;

use rustfft::num_complex::Complex64;

use super::deconvolve::SweepResponse;
use super::gates::Gate;
use super::heard::Heard;
use super::point::Point;
use crate::fft::Transform;
use crate::sweep::Sweep;
use before::Before;
use floor::{Leakage, NoiseFloor};
use spectrum::{GateSpectrum, Gating};
use sums::Sums;

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

/// Multiple of the band's lower end up to which no harmonics are: the fade-in of the sweep has
/// half of its amplitude at 0.7 of that, and none at half.
const HARMONICS_FROM: f64 = 1.5;

/// A link's response under several gates, of which each frequency takes the shortest that loses
/// nothing but noise.
///
/// The noise density of the response comes from its late lags, where the response itself has
/// ended; lines of hum in it are told apart, and count as far as a gate spreads them. A gate is
/// long enough where what the next longer one would add, its power averaged over a third and over
/// a twenty-fourth of an octave, is what the noise explains: a response that dies away shows there
/// first, while a distant lag that is strong by itself (an alias of a harmonic, a click) is none
/// of it. Own design; the bound that it approaches: noise of a gated sweep `2 N0 f T / (A^2 L)`.
pub struct Gated {
    gates: Vec<Gate>,
    /// How a line spreads under each gate; empty where there is none.
    leakages: Vec<Leakage>,
    sweep: Sweep,
    circle_s: f64,
    rate_hz: f64,
    channels: Vec<GatedChannel>,
}

/// One channel under all gates.
struct GatedChannel {
    /// One a gate.
    spectra: Vec<GateSpectrum>,
    /// One a gate: the power that the next longer one adds, or no gate at all.
    cut_off: Vec<Sums>,
    before: Before,
    noise: NoiseFloor,
}

/// What a gate cut off, and what it may.
struct Compared {
    /// Mean power that the next longer gate adds.
    lost: f64,
    /// Power that changes nothing.
    harmless: f64,
    /// Power that noise and lines of hum add in the mean.
    noise: f64,
    /// The most that noise without lines adds by chance.
    by_chance: f64,
}

impl Gated {
    /// Prepares `response` under gates of `lengths_s` (rising) and the longest free one.
    #[must_use]
    pub fn new(response: &SweepResponse, sweep: &Sweep, lengths_s: &[f64]) -> Self {
        let circle_s = response.size as f64 / response.rate_hz;
        let gates = Gate::choice(lengths_s, sweep, circle_s);
        let noise_gate = Gate::noise(&gates[gates.len() - 1]);
        let silent = vec![Complex64::default(); response.link.spectrum.len()];
        let wholes = [
            &response.link.spectrum,
            response.reference.as_ref().map_or(&silent, |r| &r.spectrum),
        ];
        let responses = Transform::new(response.size).inverse_pair(wholes[0], wholes[1]);
        let gating = Gating {
            responses: &responses,
            rate_hz: response.rate_hz,
        };
        let mut by_channel: [Vec<GateSpectrum>; 2] = Default::default();
        for [link, reference] in gates.iter().map(|gate| gating.spectra(gate)) {
            by_channel[0].push(link);
            by_channel[1].push(reference);
        }
        let heard = Heard::new(response, sweep, &noise_gate);
        let band_hz = [0.8 * sweep.start_hz, 1.02 * sweep.stop_hz];
        let count = if response.reference.is_some() { 2 } else { 1 };
        let floors: Vec<NoiseFloor> = gating
            .bins(&noise_gate)
            .iter()
            .take(count)
            .map(|noise| NoiseFloor::new(noise, &noise_gate, &heard, band_hz))
            .collect();
        let has_lines = floors.iter().any(NoiseFloor::has_lines);
        let with_lines = gates.iter().filter(|_| has_lines);
        let leakages: Vec<Leakage> = with_lines.map(Leakage::new).collect();
        let befores = Before::of(&gating, &gates[gates.len() - 1], band_hz);
        let channels = floors.into_iter().zip(by_channel).zip(wholes).zip(befores);
        let channels = channels.map(|(((noise, spectra), whole), before)| GatedChannel {
            cut_off: cut_off_by_gate(&spectra, whole, &gates, &leakages, &noise, band_hz),
            spectra,
            before,
            noise,
        });
        Self {
            channels: channels.collect(),
            leakages,
            gates,
            sweep: *sweep,
            circle_s,
            rate_hz: response.rate_hz,
        }
    }

    /// The response of link over reference (over what was sent, without one) at `frequency_hz`,
    /// within the swept band.
    #[must_use]
    pub fn at(&self, frequency_hz: f64) -> Point {
        let shortest = self.gate_at(frequency_hz);
        // Longer gates only help against lines, which they spread less.
        let longest = if self.is_hum(shortest, frequency_hz) {
            self.gates.len() - 1
        } else {
            shortest
        };
        (shortest..=longest)
            .map(|gate| self.under(gate, frequency_hz))
            .min_by(|a, b| a.variance.total_cmp(&b.variance))
            .expect("the shortest is one of them")
    }

    /// Whether lines bring more to a gate than the floor does.
    fn is_hum(&self, gate: usize, frequency_hz: f64) -> bool {
        self.leakages.get(gate).is_some_and(|leakage| {
            self.channels.iter().any(|channel| {
                let floor = channel.noise.floor(frequency_hz) * self.gates[gate].noise_s();
                channel.noise.of_lines(frequency_hz, leakage) > floor
            })
        })
    }

    /// The response under gate number `index`.
    fn under(&self, index: usize, frequency_hz: f64) -> Point {
        let gate_s = self.gates[index].noise_s();
        let mut point = Point {
            frequency_hz,
            value: Complex64::new(1.0, 0.0),
            variance: 0.0,
            gate_s,
        };
        for (number, channel) in self.channels.iter().enumerate() {
            let value = channel.spectra[index].at(frequency_hz);
            let power = value.norm_sqr().max(f64::MIN_POSITIVE);
            let floor = channel.noise.floor(frequency_hz) / power;
            let lines = self.leakages.get(index).map_or(0.0, |leakage| {
                channel.noise.of_lines(frequency_hz, leakage) / power
            });
            point.variance += floor.max(self.rounding(frequency_hz)) * gate_s + lines;
            point.variance += self.loss(channel, index, frequency_hz) / power;
            point.variance += self.following_signal(channel, frequency_hz, power) / power;
            if number == 0 {
                point.value *= value;
            } else {
                point.value /= value;
            }
        }
        point
    }

    /// Ratio of signal to noise power of the link's return between two frequencies, and its
    /// relative standard deviation.
    ///
    /// The sweep's energy falls with f, so both sums run over `1 / f` times the response's.
    #[must_use]
    pub fn snr(&self, from_hz: f64, to_hz: f64) -> [f64; 2] {
        let link = &self.channels[0];
        let longest = self.gates.len() - 1;
        let spectrum = &link.spectra[longest];
        let bins = (from_hz / spectrum.per_bin_hz).ceil() as usize
            ..=(to_hz / spectrum.per_bin_hz) as usize;
        let duration_s = self.sweep.time_constant_s * (to_hz / from_hz).ln();
        let (mut signal, mut rounding) = (0.0, 0.0);
        for bin in bins {
            let frequency_hz = bin as f64 * spectrum.per_bin_hz;
            let power = spectrum.bins[bin].norm_sqr() / frequency_hz * spectrum.per_bin_hz;
            signal += power;
            rounding += power * self.rounding(frequency_hz);
        }
        let [noise, variance] = link.noise.over_frequency(from_hz, to_hz);
        let noise = noise.max(rounding);
        let heard = signal;
        signal -= noise * self.gates[longest].noise_s();
        let snr = (signal / (duration_s * noise)).max(1e-12);
        // What was heard holds noise, too, of which only the mean was taken out.
        let of_signal = (heard / signal.max(1e-12 * heard)).powi(2) * variance;
        let unsure = if snr < 1.0 { of_signal } else { 0.0 };
        [snr, (variance + unsure).sqrt()]
    }

    /// Error of the link's return that follows the signal, as a share of its power, and the noise
    /// that is there in silence for as long: variance of white noise under the same gate.
    #[must_use]
    pub fn following(&self, frequency_hz: f64) -> [f64; 2] {
        let link = &self.channels[0];
        let value = link.spectra[self.gate_at(frequency_hz)].at(frequency_hz);
        let power = value.norm_sqr().max(f64::MIN_POSITIVE);
        let rounding = self.rounding(frequency_hz);
        let error = self.following_signal(link, frequency_hz, power) / power;
        let silence = (link.noise.floor(frequency_hz) / power).max(rounding);
        [
            error,
            silence * self.gates[self.gate_at(frequency_hz)].noise_s(),
        ]
    }

    /// Power of a channel's error that follows the signal, where the channel answers with `power`.
    /// At the lower end of the band the end itself rings before the peak, and hides it.
    fn following_signal(&self, channel: &GatedChannel, frequency_hz: f64, power: f64) -> f64 {
        if frequency_hz < HARMONICS_FROM * self.sweep.start_hz {
            return 0.0;
        }
        let least = self.rounding(frequency_hz) * power;
        channel
            .before
            .following(frequency_hz, &channel.noise, least)
    }

    /// Number of the gate that is long enough for every channel.
    ///
    /// At the lower end of the band that is the longest one: below it the response is but an
    /// extrapolation, which shorter gates would mix in.
    fn gate_at(&self, frequency_hz: f64) -> usize {
        if frequency_hz < HARMONICS_FROM * self.sweep.start_hz {
            return self.gates.len() - 1;
        }
        (0..self.gates.len() - 1)
            .find(|&gate| {
                self.channels
                    .iter()
                    .all(|channel| self.is_enough(channel, gate, frequency_hz))
            })
            .unwrap_or(self.gates.len() - 1)
    }

    /// Power that a gate cut off which no noise explains, as far as that is harmless.
    ///
    /// Of what the longest gate cut off that is only known at the lower end of the band, where
    /// there are no harmonics yet, and in no hum: there the band's end rings.
    fn loss(&self, channel: &GatedChannel, gate: usize, frequency_hz: f64) -> f64 {
        let is_longest = gate + 1 == self.gates.len();
        let is_known =
            frequency_hz < HARMONICS_FROM * self.sweep.start_hz && !self.is_hum(gate, frequency_hz);
        if is_longest && !is_known {
            return 0.0;
        }
        COMPARED_OCTAVES
            .iter()
            .map(|octaves| self.compared(channel, gate, frequency_hz, *octaves))
            .map(|compared| {
                let most = if is_longest {
                    f64::INFINITY
                } else {
                    compared.harmless
                };
                compared.lost.min(most) - compared.noise
            })
            .fold(0.0, f64::max)
    }

    fn is_enough(&self, channel: &GatedChannel, gate: usize, frequency_hz: f64) -> bool {
        COMPARED_OCTAVES
            .iter()
            .map(|octaves| self.compared(channel, gate, frequency_hz, *octaves))
            .all(|compared| compared.lost <= compared.harmless.max(compared.by_chance))
    }

    /// Compares what the next longer gate adds with the noise, within `octaves` on either side.
    fn compared(
        &self,
        channel: &GatedChannel,
        gate: usize,
        frequency_hz: f64,
        octaves: f64,
    ) -> Compared {
        let longer_s = self
            .gates
            .get(gate + 1)
            .map_or(self.circle_s, Gate::noise_s);
        let lost_s = longer_s - self.gates[gate].noise_s();
        // Bins further apart than the resolution of what is lost miss some of it.
        let heard_s = lost_s.min(1.0 / channel.spectra[gate].per_bin_hz);
        let power = channel.spectra[self.gates.len() - 1]
            .at(frequency_hz)
            .norm_sqr();
        let half_hz = (frequency_hz * (octaves.exp2() - 1.0)).max(0.5 * COMPARED_MIN / lost_s);
        // Both the loss and the noise that it is compared with are means of so many values.
        let scatter = 1.0 / (2.0 * half_hz * heard_s) + channel.noise.scatter(frequency_hz);
        let rounding = self.rounding(frequency_hz) * power;
        let floor = channel.noise.floor(frequency_hz).max(rounding) * lost_s;
        Compared {
            lost: channel.cut_off[gate].mean(frequency_hz, half_hz),
            harmless: HARMLESS.powi(2) * power,
            noise: floor.max(channel.noise.mean(frequency_hz, half_hz) * lost_s),
            by_chance: floor * (1.0 + excess_by_chance(scatter)),
        }
    }

    /// Noise density of single-precision samples, relative to the response's power: white noise
    /// of `ROUNDING A` against the sweep's energy `A^2 L / (4 f)`.
    fn rounding(&self, frequency_hz: f64) -> f64 {
        ROUNDING.powi(2) * 4.0 * frequency_hz / (self.sweep.time_constant_s * self.rate_hz)
    }
}

/// Power of what each longer spectrum has and the one before it has not, where no line hides it.
fn cut_off_by_gate(
    spectra: &[GateSpectrum],
    whole: &[Complex64],
    gates: &[Gate],
    leakages: &[Leakage],
    noise: &NoiseFloor,
    band_hz: [f64; 2],
) -> Vec<Sums> {
    let longer = spectra.iter().skip(1).map(|spectrum| &spectrum.bins[..]);
    let longer = longer.chain([whole]);
    let by_gate = spectra.iter().zip(longer).enumerate();
    by_gate
        .map(|(gate, (shorter, longer))| {
            // Circles are halved: bins of the shorter one are bins of the longer one.
            let stride = (longer.len() - 1) / (shorter.bins.len() - 1);
            let pairs = shorter.bins.iter().zip(longer.iter().step_by(stride));
            let hidden = |bin: usize| {
                let frequency_hz = bin as f64 * shorter.per_bin_hz;
                leakages.get(gate).is_some_and(|leakage| {
                    let lines = noise.of_lines(frequency_hz, leakage);
                    lines > noise.floor(frequency_hz) * gates[gate].noise_s()
                })
            };
            let powers = pairs
                .enumerate()
                .map(|(bin, (a, b))| (!hidden(bin)).then(|| (a - b).norm_sqr()));
            Sums::new(powers, shorter.per_bin_hz, band_hz)
        })
        .collect()
}

/// Relative excess over its mean that a noise power of relative variance `scatter` has by chance
/// in fewer than one of [`CHANCE`] comparisons: `sqrt(2 t scatter) + t scatter` with
/// `t = ln CHANCE`. Source: Laurent and Massart, Ann. Statist. 28 (2000), lemma 1, for the
/// chi-squared distribution of `2 / scatter` degrees of freedom (from memory).
fn excess_by_chance(scatter: f64) -> f64 {
    let exponent = CHANCE.ln() * scatter;
    (2.0 * exponent).sqrt() + exponent
}
