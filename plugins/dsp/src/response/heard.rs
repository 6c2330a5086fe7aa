//! How much of the late lags was heard at all.

use super::deconvolve::{SweepResponse, fades};
use super::gates::Gate;
use super::train::BEFORE_S;
use crate::sweep::Sweep;

/// Places on the circle for which the integral is tabulated, and steps of each integral.
const PLACES: usize = 256;

/// Seconds of noise that the noise gate lets through, by frequency.
///
/// Lag t of frequency f was recorded when the sweep had passed f for t seconds, round the circle.
/// A part of the circle is silence (the transform is longer than the window, whose ends are
/// faded): `integral of gate(t)^2 window(t_f + t)^2 dt`, at most that of the gate alone.
pub(super) struct Heard {
    sweep: Sweep,
    circle_s: f64,
    /// The integral by time in the circle.
    table: Vec<f64>,
}

impl Heard {
    /// Tabulates the integral for `gate`.
    pub(super) fn new(response: &SweepResponse, sweep: &Sweep, gate: &Gate) -> Self {
        let circle_s = response.size as f64 / response.rate_hz;
        let window_s = response.window_frames as f64 / response.rate_hz;
        let step_s = circle_s / PLACES as f64;
        let heard = |place: usize| {
            (0..PLACES)
                .map(|lag| lag as f64 * step_s)
                .map(|lag_s| {
                    let time_s = (place as f64 * step_s + lag_s) % circle_s;
                    (gate.weight(lag_s) * fades(time_s, window_s)).powi(2) * step_s
                })
                .sum::<f64>()
                .max(0.05 * gate.noise_s())
        };
        Self {
            sweep: *sweep,
            circle_s,
            table: (0..PLACES).map(heard).collect(),
        }
    }

    /// The integral at `frequency_hz`.
    pub(super) fn seconds(&self, frequency_hz: f64) -> f64 {
        let frequency_hz = frequency_hz.max(self.sweep.begin_hz);
        let time_s = BEFORE_S + self.sweep.time_of_s(frequency_hz);
        let place = time_s / self.circle_s * PLACES as f64;
        self.table[place.round() as usize % PLACES]
    }
}
