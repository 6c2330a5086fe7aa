//! Harmonics cut out of a response.

use goodwire_dsp::fft::{Transform, smooth_size};
use goodwire_dsp::response::{SweepResponse, log_grid};
use goodwire_dsp::sweep::Sweep;
use goodwire_dsp::tone::{Complex64, Line, NoisyPower};

use super::gate::{Gate, SHARES};
use super::noise::Noise;
use super::scatter::scatter;

/// Highest order that is read.
pub const ORDER_MAX: usize = 10;

/// Points an octave of the fundamental's frequency.
const PER_OCTAVE: f64 = 24.0;

/// Spectra have so many times more points than their gate has samples: between them is interpolated.
const PADDING: usize = 4;

/// Change by a shorter gate, relative to the harmonic, that is always allowed: 0.017 dB.
const HARMLESS: f64 = 2e-3;

/// Change by a shorter gate that noise may have made, re the mean power that it makes.
const NOISE_MARGIN: f64 = 2.0;

/// Points on either side over which changes are averaged.
const ABOUT: usize = 4;

/// What the analysis itself leaves of one lag in another, re the linear response: what is less is
/// no harmonic of the link. Measured on straight links with steep band limits.
const OWN_FLOOR: f64 = 1e-6;

/// Harmonics of both returns re their fundamentals, on one grid.
#[derive(Debug, Clone)]
pub struct Harmonics {
    /// Frequencies of the fundamental in Hz, rising.
    pub frequencies_hz: Vec<f64>,
    /// The link's return.
    pub link: Channel,
    /// The reference's.
    pub reference: Option<Channel>,
}

/// The harmonics of one return.
#[derive(Debug, Clone)]
pub struct Channel {
    /// Magnitude of the linear response at every frequency.
    pub fundamental: Vec<f64>,
    /// By order, from 2 on, then by frequency: harmonic re fundamental; shorter where the harmonic
    /// passes the bandwidth.
    pub orders: Vec<Vec<Harmonic>>,
}

/// One harmonic of one fundamental, re this.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Harmonic {
    /// Complex amplitude.
    amplitude: Complex64,
    /// Variance by noise, both components together.
    variance: f64,
    /// Variance by what is no noise, see [`scatter`].
    scatter: f64,
}

impl From<(Line, f64)> for Harmonic {
    fn from((line, scatter): (Line, f64)) -> Self {
        Self {
            amplitude: line.amplitude,
            variance: line.variance,
            scatter,
        }
    }
}

impl Harmonic {
    /// What is left of it without another one.
    pub fn minus(&self, other: &Self) -> Self {
        Self {
            amplitude: self.amplitude - other.amplitude,
            variance: self.variance + other.variance,
            scatter: self.scatter + other.scatter,
        }
    }

    /// Its power, noise taken off.
    pub fn power(&self) -> NoisyPower {
        NoisyPower::of(self.amplitude.norm_sqr(), self.variance).less_sure_by(self.scatter)
    }
}

impl Harmonics {
    /// Cuts them out of `response` within a band, turned round where a return is inverted.
    pub fn of(
        response: &SweepResponse,
        sweep: &Sweep,
        [start_hz, bandwidth_hz]: [f64; 2],
        polarities: [f64; 2],
    ) -> Self {
        let silent = vec![Complex64::default(); response.link.spectrum.len()];
        let reference = response.reference.as_ref();
        let responses = Transform::new(response.size).inverse_pair(
            &response.link.spectrum,
            reference.map_or(&silent, |channel| &channel.spectrum),
        );
        let cutter = Cutter {
            noise: Noise::of(&responses, sweep, response.rate_hz),
            responses,
            rate_hz: response.rate_hz,
            sweep,
        };
        let gains = cutter.gains();
        let frequencies_hz = log_grid(start_hz, bandwidth_hz / 2.0, PER_OCTAVE);
        let [first, others] = [1..=1, 2..=ORDER_MAX].map(|orders| {
            let read = orders.map(|order| {
                let below = |hz: &&f64| order as f64 * **hz <= bandwidth_hz * (1.0 + 1e-9);
                let at_hz: Vec<f64> = (frequencies_hz.iter().take_while(below))
                    .map(|hz| order as f64 * hz)
                    .collect();
                cutter.read(order as u32, &at_hz, gains)
            });
            read.collect::<Vec<_>>()
        });
        let channel = |index: usize| {
            let others = others.iter().map(|order| &order[index]);
            Channel::new(polarities[index], &first[0][index], others)
        };
        Self {
            link: channel(0),
            reference: reference.map(|_| channel(1)),
            frequencies_hz,
        }
    }
}

impl Channel {
    /// Harmonics re fundamentals, turned back by the phases of these, so that gain and delay drop
    /// out: `H_N(N f) exp(-j N arg H_1(f)) / |H_1(f)|`; of an inverted sound all is turned round before.
    fn new<'a>(polarity: f64, first: &[Line], others: impl Iterator<Item = &'a Vec<Line>>) -> Self {
        let orders = others.zip(2..).map(|(lines, order)| {
            let relative = lines.iter().zip(first).map(|(line, first)| {
                let below = first.amplitude.norm().max(f64::MIN_POSITIVE);
                let phase = (polarity * first.amplitude).arg();
                let turn = polarity * Complex64::cis(-f64::from(order) * phase);
                let amplitude = line.amplitude * turn / below;
                let scaled = amplitude.norm_sqr() * first.variance;
                Line {
                    amplitude,
                    variance: (line.variance + scaled) / (below * below),
                }
            });
            let relative: Vec<Line> = relative.collect();
            let scatter = scatter(&relative);
            relative
                .into_iter()
                .zip(scatter)
                .map(Harmonic::from)
                .collect()
        });
        Self {
            fundamental: first.iter().map(|line| line.amplitude.norm()).collect(),
            orders: orders.collect(),
        }
    }
}

/// Cuts harmonics out of two responses on one circle.
struct Cutter<'a> {
    responses: [Vec<f64>; 2],
    noise: [Noise; 2],
    rate_hz: f64,
    sweep: &'a Sweep,
}

impl Cutter<'_> {
    /// Both responses' harmonic of `order` at `at_hz`, of links of some gains: at every frequency through the shortest gate
    /// that loses nothing but noise against the longest.
    fn read(&self, order: u32, at_hz: &[f64], gains: [f64; 2]) -> [Vec<Line>; 2] {
        let gates = SHARES.map(|share| Gate::of(order, self.sweep, share));
        let by_gate: Vec<[Vec<Complex64>; 2]> = (gates.iter())
            .map(|gate| self.under(gate, order, at_hz))
            .collect();
        [0, 1].map(|channel| {
            let spectra: Vec<&[Complex64]> =
                by_gate.iter().map(|both| &both[channel][..]).collect();
            let leak = OWN_FLOOR * gains[channel];
            let line = |index: usize| {
                let chosen = self.shortest(&gates, &spectra, channel, at_hz, index);
                let variance = self.noise[channel].variance(at_hz[index], gates[chosen].noise_s());
                Line {
                    amplitude: spectra[chosen][index],
                    variance: variance + leak * leak,
                }
            };
            (0..at_hz.len()).map(line).collect()
        })
    }

    /// Gains at 1 kHz, near those of links that pass a wide band.
    fn gains(&self) -> [f64; 2] {
        let gate = Gate::of(1, self.sweep, SHARES[0]);
        self.under(&gate, 1, &[1_000.0])
            .map(|spectrum| spectrum[0].norm())
    }

    /// Number of the shortest gate that will do for `at_hz[index]`.
    fn shortest(
        &self,
        gates: &[Gate; 3],
        spectra: &[&[Complex64]],
        channel: usize,
        at_hz: &[f64],
        index: usize,
    ) -> usize {
        let longest = gates.len() - 1;
        let about = index.saturating_sub(ABOUT)..(index + ABOUT + 1).min(at_hz.len());
        let count = about.len() as f64;
        let will_do = |gate: usize| {
            let longer = gate + 1;
            let lost_s = gates[longer].noise_s() - gates[gate].noise_s();
            let (mut lost, mut power, mut noise) = (0.0, 0.0, 0.0);
            for at in about.clone() {
                lost += (spectra[longer][at] - spectra[gate][at]).norm_sqr();
                power += spectra[longer][at].norm_sqr();
                noise += self.noise[channel].variance(at_hz[at], lost_s);
            }
            gates[gate].holds(at_hz[index])
                && lost <= (HARMLESS * HARMLESS * power + NOISE_MARGIN * noise).max(count * 1e-30)
        };
        // All longer ones have to agree: what dies away late shows there first.
        (0..longest)
            .find(|&gate| (gate..longest).all(will_do))
            .unwrap_or(longest)
    }

    /// The spectra of both responses under a gate about harmonic `order`, at `at_hz`.
    fn under(&self, gate: &Gate, order: u32, at_hz: &[f64]) -> [Vec<Complex64>; 2] {
        let size = self.responses[0].len() as i64;
        let own_lag = -self.sweep.advance_s(order) * self.rate_hz;
        let from = (own_lag - gate.before_s * self.rate_hz).ceil() as i64;
        let to = (own_lag + gate.after_s * self.rate_hz).floor() as i64;
        let length = (to - from + 1).max(1) as usize;
        let weighed = self.responses.each_ref().map(|response| {
            let lags = (from..=to).map(|lag| {
                let lag_s = (lag as f64 - own_lag) / self.rate_hz;
                response[lag.rem_euclid(size) as usize] * gate.weight(lag_s)
            });
            lags.collect::<Vec<f64>>()
        });
        let mut transform = Transform::new(smooth_size(PADDING * length));
        let points = transform.size() as f64;
        let spectra = transform.forward_pair(&weighed[0], &weighed[1]);
        // The first sample lies before the harmonic's own lag: turned back, spectra are smooth.
        let early = own_lag - from as f64;
        spectra.map(|spectrum| {
            let read =
                |&hz: &f64| interpolated(&spectrum, hz / self.rate_hz * points, early / points);
            at_hz.iter().map(read).collect()
        })
    }
}

/// Cubic interpolation (Lagrange) of a spectrum at a fractional bin, its signal moved earlier by
/// `early` of the circle.
fn interpolated(spectrum: &[Complex64], bin: f64, early: f64) -> Complex64 {
    let base = (bin.floor() as usize).clamp(1, spectrum.len() - 3);
    let x = bin - base as f64;
    let weights = [
        -x * (x - 1.0) * (x - 2.0) / 6.0,
        (x + 1.0) * (x - 1.0) * (x - 2.0) / 2.0,
        -(x + 1.0) * x * (x - 2.0) / 2.0,
        (x + 1.0) * x * (x - 1.0) / 6.0,
    ];
    (0..4)
        .map(|index| {
            let at = base + index - 1;
            spectrum[at]
                * Complex64::cis(std::f64::consts::TAU * early * at as f64)
                * weights[index]
        })
        .sum()
}
