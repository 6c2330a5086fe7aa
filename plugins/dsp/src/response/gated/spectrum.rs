//! The spectrum of a response under one gate.

use rustfft::num_complex::Complex64;

use crate::fft::Transform;
use crate::interpolate::eight;
use crate::response::gates::Gate;

/// How many times a gate fits into the circle that its spectrum is had from, at least: the
/// interpolation between bins is then off by less than 1e-6 of what lies in the gate's middle.
const ROOM: f64 = 5.0;

/// Least share of the whole circle, as a power of two.
const HALVINGS_MAX: u32 = 8;

/// A half spectrum and the distance of its bins.
pub(super) struct GateSpectrum {
    pub(super) bins: Vec<Complex64>,
    pub(super) per_bin_hz: f64,
}

impl GateSpectrum {
    /// Value at `frequency_hz`, interpolated (Lagrange, eight bins).
    pub(super) fn at(&self, frequency_hz: f64) -> Complex64 {
        let place = frequency_hz / self.per_bin_hz;
        let base = (place.floor() as usize).min(self.bins.len() - 5);
        let weights = eight(place - base as f64);
        let bin = |index: usize| match (base + index).checked_sub(3) {
            Some(bin) => self.bins[bin],
            // A real signal's spectrum goes on below 0 as its own mirror.
            None => self.bins[3 - base - index].conj(),
        };
        (0..8).map(|index| bin(index) * weights[index]).sum()
    }
}

/// Takes spectra of two responses, of link and reference, under gates.
pub(super) struct Gating<'a> {
    pub(super) responses: &'a [Vec<f64>; 2],
    pub(super) rate_hz: f64,
}

impl Gating<'_> {
    /// Spectra to be read at any frequency.
    pub(super) fn spectra(&self, gate: &Gate) -> [GateSpectrum; 2] {
        self.under(gate, ROOM)
    }

    /// Spectra whose bins alone count.
    pub(super) fn bins(&self, gate: &Gate) -> [GateSpectrum; 2] {
        self.under(gate, 1.0)
    }

    /// A short gate needs no long transform: the circle is halved while the gate fits into it
    /// `room` times.
    fn under(&self, gate: &Gate, room: f64) -> [GateSpectrum; 2] {
        let mut size = self.responses[0].len();
        let needed = room * (gate.to_s - gate.from_s) * self.rate_hz;
        for _ in 0..HALVINGS_MAX {
            if size.is_multiple_of(2) && (size / 2) as f64 >= needed {
                size /= 2;
            }
        }
        let [link, reference] = self.responses.each_ref().map(|r| self.cut(r, gate, size));
        let per_bin_hz = self.rate_hz / size as f64;
        Transform::new(size)
            .forward_pair(&link, &reference)
            .map(|bins| GateSpectrum { bins, per_bin_hz })
    }

    /// A circular response under a gate, on a circle of `size`.
    fn cut(&self, response: &[f64], gate: &Gate, size: usize) -> Vec<f64> {
        let mut cut = vec![0.0; size];
        let first = (gate.from_s * self.rate_hz).ceil() as i64;
        let last = (gate.to_s * self.rate_hz).floor() as i64;
        for lag in first..=last.min(first + size as i64 - 1) {
            let sample = response[lag.rem_euclid(response.len() as i64) as usize];
            cut[lag.rem_euclid(size as i64) as usize] =
                sample * gate.weight(lag as f64 / self.rate_hz);
        }
        cut
    }
}
