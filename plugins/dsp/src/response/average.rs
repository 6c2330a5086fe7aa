//! Repeats of one sweep, each put on the delay of the first before they are averaged.

use rustfft::num_complex::Complex64;

use super::deconvolve::{Channel, SweepResponse, delay};
use crate::fft::Transform;
use crate::window::{flat_top, rise};

/// Gate in seconds within which repeats are compared.
const GATE_S: [f64; 2] = [-0.004, 0.008];
/// Band in Hz within which repeats are compared.
const BAND_HZ: [f64; 2] = [200.0, 12_000.0];

/// The mean of repeats.
#[derive(Debug, Clone)]
pub struct Averaged {
    /// The mean, on the delay of the first repeat.
    pub response: SweepResponse,
    /// Frames by which the link was later in each repeat than in the first: value, σ.
    pub link_delays: Vec<[f64; 2]>,
    /// The same of the reference; empty without one.
    pub reference_delays: Vec<[f64; 2]>,
}

/// Averages `repeats` coherently, each channel of each repeat by its own, fractional delay.
/// `band_hz` is the swept band. At least one repeat.
#[must_use]
pub fn average(repeats: &[&SweepResponse], band_hz: [f64; 2]) -> Averaged {
    let first = repeats[0];
    let links: Vec<&Channel> = repeats.iter().map(|repeat| &repeat.link).collect();
    let (link, link_delays) = average_channel(&links, first, band_hz);
    let references: Option<Vec<&Channel>> = repeats
        .iter()
        .map(|repeat| repeat.reference.as_ref())
        .collect();
    let (reference, reference_delays) = match references {
        Some(references) => {
            let (channel, delays) = average_channel(&references, first, band_hz);
            (Some(channel), delays)
        }
        None => (None, Vec::new()),
    };
    Averaged {
        response: SweepResponse {
            link,
            reference,
            ..*first
        },
        link_delays,
        reference_delays,
    }
}

fn average_channel(
    channels: &[&Channel],
    shape: &SweepResponse,
    band_hz: [f64; 2],
) -> (Channel, Vec<[f64; 2]>) {
    let mut sum = channels[0].clone();
    let mut delays = vec![[0.0, 0.0]];
    if channels.len() == 1 {
        return (sum, delays);
    }
    let mut comparer = Comparer::new(shape, band_hz);
    let base = comparer.gated(&channels[0].near);
    for channel in &channels[1..] {
        let other = comparer.gated(&channel.near);
        let [later, sigma] = comparer.delay_between(&base, &other);
        let mut spectrum = channel.spectrum.clone();
        delay(&mut spectrum, -later, shape.size);
        for (total, value) in sum.spectrum.iter_mut().zip(&spectrum) {
            *total += value;
        }
        delays.push([later + channel.lag_frames - sum.lag_frames, sigma]);
    }
    let scale = 1.0 / channels.len() as f64;
    for value in &mut sum.spectrum {
        *value *= scale;
    }
    (sum, delays)
}

/// One response of two to the same sweep: the octave about `at_hz` fades from `low`, which is put
/// on the delay of `high` before, to `high`. `band_hz` is the swept band.
#[must_use]
pub fn splice(
    low: &SweepResponse,
    high: &SweepResponse,
    at_hz: f64,
    band_hz: [f64; 2],
) -> SweepResponse {
    let per_bin_hz = high.rate_hz / high.size as f64;
    let share_high = |bin: usize| rise((bin as f64 * per_bin_hz / at_hz).log2() + 0.5);
    let mut comparer = Comparer::new(high, band_hz);
    let size = high.size;
    let mut join = |low: &Channel, high: &Channel| {
        let [base, other] = [high, low].map(|channel| comparer.gated(&channel.near));
        let [later, _] = comparer.delay_between(&base, &other);
        let mut spectrum = low.spectrum.clone();
        delay(&mut spectrum, -later, size);
        for (bin, (value, high)) in spectrum.iter_mut().zip(&high.spectrum).enumerate() {
            *value += (high - *value) * share_high(bin);
        }
        Channel {
            spectrum,
            lag_frames: high.lag_frames,
            near: high.near.clone(),
        }
    };
    let references = low.reference.as_ref().zip(high.reference.as_ref());
    SweepResponse {
        link: join(&low.link, &high.link),
        reference: references.map(|(low, high)| join(low, high)),
        ..*high
    }
}

/// Compares the delays of two responses.
struct Comparer {
    short: Transform,
    rate_hz: f64,
    band_hz: [f64; 2],
}

impl Comparer {
    fn new(shape: &SweepResponse, band_hz: [f64; 2]) -> Self {
        let gate_frames = (GATE_S[1] - GATE_S[0]) * shape.rate_hz;
        Self {
            short: Transform::new((4.0 * gate_frames) as usize),
            rate_hz: shape.rate_hz,
            band_hz: [BAND_HZ[0].max(band_hz[0]), BAND_HZ[1].min(band_hz[1])],
        }
    }

    /// Spectrum of a response, its peak in the middle, within the gate.
    fn gated(&mut self, near: &[f64]) -> Vec<Complex64> {
        let short = self.short.size();
        let middle = (near.len() / 2) as i64;
        let mut gated = vec![0.0; short];
        let [first, last] = GATE_S.map(|lag_s| (lag_s * self.rate_hz) as i64);
        for lag in first..=last {
            let weight = flat_top(
                lag as f64 / self.rate_hz,
                GATE_S[0],
                0.002,
                0.003,
                GATE_S[1],
            );
            gated[lag.rem_euclid(short as i64) as usize] = near[(middle + lag) as usize] * weight;
        }
        let [spectrum, _] = self.short.forward_pair(&gated, &[]);
        spectrum
    }

    /// Frames by which `other` is later than `base`, and σ: the straight line through 0 that fits
    /// the phase between them best. A sweep's energy falls with f, so in white noise the phase's
    /// variance grows with `f / |base other|`; σ comes from the scatter about the line.
    fn delay_between(&self, base: &[Complex64], other: &[Complex64]) -> [f64; 2] {
        let per_bin = std::f64::consts::TAU / self.short.size() as f64;
        let per_bin_hz = self.rate_hz / self.short.size() as f64;
        let bins = (self.band_hz[0] / per_bin_hz).ceil() as usize
            ..=(self.band_hz[1] / per_bin_hz) as usize;
        let rows: Vec<[f64; 3]> = bins
            .map(|bin| {
                let cross = other[bin] * base[bin].conj();
                [
                    cross.norm() / bin as f64,
                    -per_bin * bin as f64,
                    cross.arg(),
                ]
            })
            .collect();
        let sum =
            |f: &dyn Fn(&[f64; 3]) -> f64| rows.iter().map(|row| row[0] * f(row)).sum::<f64>();
        let square = sum(&|row| row[1] * row[1]);
        let later = sum(&|row| row[1] * row[2]) / square;
        let scatter = sum(&|row| (row[2] - later * row[1]).powi(2)) / rows.len() as f64;
        // The gate's resolution, the inverse of the integral of its square, makes so many
        // neighbouring bins alike.
        let gate_s = GATE_S[1] - GATE_S[0] - 5.0 / 8.0 * 0.005;
        let alike = (1.0 / (gate_s * per_bin_hz)).max(1.0);
        [later, (scatter * alike / square).sqrt()]
    }
}
