//! Gates: how much of a response counts.

use crate::sweep::Sweep;
use crate::window::flat_top;

/// Highest harmonic that is kept out of the longest gate.
const HARMONIC_MAX: u32 = 8;

/// A window over the lags of a response, with raised-cosine ends, in seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gate {
    /// First lag, below 0.
    pub from_s: f64,
    /// Length of the rise from `from_s` on.
    pub rise_s: f64,
    /// Length of the fall up to `to_s`.
    pub fall_s: f64,
    /// Last lag.
    pub to_s: f64,
}

impl Gate {
    /// A gate whose noise is that of `length_s` seconds: the integral of its square.
    /// A sixth of it lies before lag 0, for responses that ring on both sides.
    #[must_use]
    pub fn of_length(length_s: f64) -> Self {
        // The integral of a squared raised-cosine end is 3/8 of its length.
        let (rise_s, fall_s) = (0.1 * length_s, 0.2 * length_s);
        let whole_s = length_s + 5.0 / 8.0 * (rise_s + fall_s);
        let from_s = -length_s / 6.0;
        Self {
            from_s,
            rise_s,
            fall_s,
            to_s: from_s + whole_s,
        }
    }

    /// All lags that are free of harmonics of `sweep` in a circle of `circle_s` seconds.
    ///
    /// Harmonic N begins at `-L ln N` and ends some time later, so most but not all of the way
    /// back to the second one is free; the longest positive lag is where the circle meets the
    /// eighth. The rise is long, so that a line of hum stays where it is.
    #[must_use]
    pub fn free(sweep: &Sweep, circle_s: f64) -> Self {
        let from_s = -0.7 * sweep.advance_s(2);
        let to_s = 0.97 * (circle_s - sweep.advance_s(HARMONIC_MAX));
        Self {
            from_s,
            rise_s: -0.6 * from_s,
            fall_s: 0.1 * to_s,
            to_s,
        }
    }

    /// The earlier half of the free lags, in which a response has died away.
    #[must_use]
    pub fn early(sweep: &Sweep, circle_s: f64) -> Self {
        let free = Self::free(sweep, circle_s);
        Self {
            to_s: 0.5 * free.to_s,
            ..free
        }
    }

    /// The later half of the free lags, where nothing but noise is left.
    #[must_use]
    pub fn noise(free: &Self) -> Self {
        let from_s = 0.5 * free.to_s;
        let length_s = free.to_s - from_s;
        Self {
            from_s,
            rise_s: 0.25 * length_s,
            fall_s: 0.25 * length_s,
            to_s: free.to_s,
        }
    }

    /// The gates to choose from, shortest first; the last is [`Gate::free`].
    #[must_use]
    pub fn choice(lengths_s: &[f64], sweep: &Sweep, circle_s: f64) -> Vec<Self> {
        let free = Self::free(sweep, circle_s);
        let fits = |gate: &Self| gate.to_s < free.to_s;
        let mut gates: Vec<Self> = lengths_s
            .iter()
            .map(|&length_s| Self::of_length(length_s))
            .map(|gate| Self {
                from_s: gate.from_s.max(free.from_s),
                rise_s: gate.rise_s.min(-0.5 * free.from_s),
                ..gate
            })
            .filter(fits)
            .collect();
        gates.push(free);
        gates
    }

    /// Weight at `lag_s`, 0 to 1.
    #[must_use]
    pub fn weight(&self, lag_s: f64) -> f64 {
        flat_top(lag_s, self.from_s, self.rise_s, self.fall_s, self.to_s)
    }

    /// Integral of the squared weight in seconds: white noise passes in proportion to it.
    #[must_use]
    pub fn noise_s(&self) -> f64 {
        self.to_s - self.from_s - 5.0 / 8.0 * (self.rise_s + self.fall_s)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gate_of_0_1_s_passes_the_noise_of_0_1_s() {
        let gate = Gate::of_length(0.1);
        let step_s = 1e-6;
        let sum: f64 = (-50_000..150_000)
            .map(|n| gate.weight(f64::from(n) * step_s).powi(2) * step_s)
            .sum();
        assert!((sum - 0.1).abs() < 1e-6, "{sum}");
        assert!((gate.noise_s() - 0.1).abs() < 1e-12);
    }

    #[test]
    fn the_free_gate_keeps_clear_of_the_second_and_the_eighth_harmonic() {
        let sweep = Sweep::new(48_000.0, 1.0, 20.0, 20_000.0, 5.0);
        let free = Gate::free(&sweep, 5.9);
        assert!(free.from_s > -sweep.advance_s(2) && free.from_s < -0.3);
        assert!(free.to_s < 5.9 - sweep.advance_s(8) && free.to_s > 4.0);
    }
}
