//! Error that follows the signal, as a lossy coder's does.
//!
//! A link cannot answer before it is asked, so what lies before lag 0 is noise. Noise that is there
//! in silence too is as strong at late lags; what is more, near the peak, came while the sweep was
//! near the frequency: it follows the signal, on either side alike. Own design.

use super::floor::NoiseFloor;
use super::spectrum::Gating;
use super::sums::Sums;
use crate::response::gates::Gate;

/// Seconds before the peak that may belong to the response: filters that ring on both sides.
const CLEAR_S: f64 = 0.004;
/// Both sides of the peak hold as much.
const SIDES: f64 = 2.0;

/// The gate before the response, clear of the second harmonic.
fn gate(free: &Gate) -> Gate {
    let length_s = -free.from_s - CLEAR_S;
    Gate {
        from_s: free.from_s,
        rise_s: 0.2 * length_s,
        fall_s: 0.25 * CLEAR_S,
        to_s: -CLEAR_S,
    }
}

/// What lies before one channel's response.
pub(super) struct Before {
    powers: Sums,
    length_s: f64,
}

impl Before {
    /// Reads both channels.
    pub(super) fn of(gating: &Gating<'_>, free: &Gate, band_hz: [f64; 2]) -> [Self; 2] {
        let gate = gate(free);
        gating.bins(&gate).map(|spectrum| {
            let powers = spectrum.bins.iter().map(|bin| Some(bin.norm_sqr()));
            Self {
                powers: Sums::new(powers, spectrum.per_bin_hz, band_hz),
                length_s: gate.noise_s(),
            }
        })
    }

    /// Power of the error that follows the signal, where it is more than `noise` and at least the
    /// density `least` explain; else 0.
    pub(super) fn following(&self, frequency_hz: f64, noise: &NoiseFloor, least: f64) -> f64 {
        let half_hz = (0.12 * frequency_hz).max(2.0 / self.length_s);
        let heard = self.powers.mean(frequency_hz, half_hz);
        let density = noise
            .floor(frequency_hz)
            .max(noise.mean(frequency_hz, half_hz));
        let expected = density.max(least) * self.length_s;
        let scatter = 1.0 / (2.0 * half_hz * self.length_s) + noise.scatter(frequency_hz);
        if heard > expected * (1.0 + super::excess_by_chance(scatter)) {
            SIDES * (heard - expected)
        } else {
            0.0
        }
    }
}
