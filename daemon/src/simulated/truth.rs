//! What is true of a simulated link or path by its settings alone: what a measurement should find.
//!
//! All that is told here is of the frames as they are, at the rate at hand. Dropouts, muting,
//! skew, neighbours, noise and hum are left out.

use std::f64::consts::{PI, TAU};

use super::{
    clock::first_delay_frames,
    factor_of_db,
    filters::Filters,
    settings::{LinkSettings, PathSettings},
    transmitter::Transmitter,
};

/// Points to an octave in [`LinkSettings::latency_ms`].
const POINTS_PER_OCTAVE: f64 = 96.0;

/// Linear response at one frequency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Response {
    /// Gain as a factor, above 0.
    pub factor: f64,
    /// Phase in radians, not wrapped: what the filters and the delay make of it, and π more for an
    /// inverted link.
    pub phase_radians: f64,
}

impl Response {
    /// Gain in dB.
    #[must_use]
    pub fn gain_db(&self) -> f64 {
        20.0 * self.factor.log10()
    }
}

impl LinkSettings {
    /// The delay in frames that the link begins with: as set, but rounded to whole frames where it
    /// is below 32; a link with skew has at least 32, and 2 ms more where its delay shrinks.
    #[must_use]
    pub fn delay_frames(&self, rate_hz: f64) -> f64 {
        first_delay_frames(self, rate_hz)
    }

    /// Linear response from the send's path to the return's path, for sounds too soft to be bent.
    #[must_use]
    pub fn response(&self, frequency_hz: f64, rate_hz: f64) -> Response {
        let (factor, phase) = self.filters(rate_hz).response(frequency_hz, rate_hz);
        let delay_s = self.delay_frames(rate_hz) / rate_hz;
        let polarity = if self.inverted { PI } else { 0.0 };
        Response {
            factor: factor * factor_of_db(self.gain_db),
            phase_radians: phase + polarity - TAU * frequency_hz * delay_s,
        }
    }

    /// Latency in ms, the filters' own included: slope of the straight line through 0° (180° for an
    /// inverted link) at 0 Hz that fits the phase best from 1 to 10 kHz, evenly over log frequency,
    /// as far as that lies between the corners.
    #[must_use]
    pub fn latency_ms(&self, rate_hz: f64) -> f64 {
        let low_hz = self.low_corner_hz.max(1000.0);
        let high_hz = if self.high_corner_hz > 0.0 {
            self.high_corner_hz
        } else {
            1e4
        }
        .min(1e4);
        let count = (POINTS_PER_OCTAVE * (high_hz / low_hz).log2())
            .ceil()
            .max(1.0);
        let filters = self.filters(rate_hz);
        let (mut products, mut squares) = (0.0, 0.0);
        for k in 0..count as u32 {
            // Middles of even steps over log frequency.
            let hz = low_hz * (high_hz / low_hz).powf((f64::from(k) + 0.5) / count);
            products += filters.response(hz, rate_hz).1 * hz;
            squares += hz * hz;
        }
        1000.0 * (self.delay_frames(rate_hz) / rate_hz - products / squares / TAU)
    }

    /// Signed amplitudes of the first 10 harmonics of a cosine of this peak at the link's input, as
    /// the transmitter makes them, full scale = 1: gain and filters come on top, and harmonics
    /// above half the rate fold back.
    #[must_use]
    pub fn harmonics(&self, peak_dbfs: f64) -> [f64; 10] {
        Transmitter::new(self).harmonics(factor_of_db(peak_dbfs))
    }

    /// Total harmonic distortion (harmonics 2 to 10, re fundamental) in % of a sine of this peak
    /// and frequency at the link's input, the filters counted in, as far as harmonics lie below
    /// `bandwidth_hz`.
    #[must_use]
    pub fn thd_percent(
        &self,
        peak_dbfs: f64,
        frequency_hz: f64,
        bandwidth_hz: f64,
        rate_hz: f64,
    ) -> f64 {
        let filters = self.filters(rate_hz);
        let heard = |(k, amplitude): (usize, f64)| {
            let hz = (k + 1) as f64 * frequency_hz;
            let heard = amplitude * filters.response(hz, rate_hz).0;
            if hz < bandwidth_hz { heard } else { 0.0 }
        };
        let mut harmonics = self.harmonics(peak_dbfs).into_iter().enumerate().map(heard);
        let fundamental = harmonics.next().expect("there are ten").abs();
        100.0 * harmonics.map(|h| h * h).sum::<f64>().sqrt() / fundamental
    }

    /// Gain and polarity as one factor.
    pub(super) fn factor(&self) -> f64 {
        factor_of_db(self.gain_db) * if self.inverted { -1.0 } else { 1.0 }
    }

    /// Its band limits.
    pub(super) fn filters(&self, rate_hz: f64) -> Filters {
        Filters::new(
            self.low_corner_hz,
            self.high_corner_hz,
            self.filter_order,
            rate_hz,
        )
    }
}

impl PathSettings {
    /// Linear response of the path.
    #[must_use]
    pub fn response(&self, frequency_hz: f64, rate_hz: f64) -> Response {
        let (factor, phase_radians) = self.filters(rate_hz).response(frequency_hz, rate_hz);
        Response {
            factor: factor * factor_of_db(self.gain_db),
            phase_radians,
        }
    }

    /// Its roll-off, of first order.
    pub(super) fn filters(&self, rate_hz: f64) -> Filters {
        Filters::new(self.low_corner_hz, self.high_corner_hz, 1, rate_hz)
    }
}
