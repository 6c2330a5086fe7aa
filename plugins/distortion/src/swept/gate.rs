//! Which lags belong to one harmonic.

use goodwire_dsp::sweep::Sweep;
use goodwire_dsp::window::flat_top;

/// Shares of the lags to the next higher and the next lower harmonic that a gate may take.
const ROOM: [f64; 2] = [0.3, 0.65];

/// Longest reach before and after a harmonic's own lag, in seconds: band limits ring no longer.
const LONGEST_S: [f64; 2] = [0.06, 0.2];

/// The same for the fundamental, which is read at half the frequency of the lowest harmonic and less.
const FUNDAMENTAL_S: [f64; 2] = [0.1, 0.5];

/// Shares of the longest gate that the gates have.
pub const SHARES: [f64; 3] = [1.0 / 16.0, 0.25, 1.0];

/// A gate has to hold at least so many periods.
const PERIODS_MIN: f64 = 6.0;

/// A window over the lags about a harmonic's own, in seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gate {
    /// Reach before the harmonic's own lag.
    pub before_s: f64,
    /// Reach after it.
    pub after_s: f64,
}

impl Gate {
    /// The gate of `share` of the longest about harmonic `order` of `sweep`.
    pub fn of(order: u32, sweep: &Sweep, share: f64) -> Self {
        let apart_s = |below: u32, above: u32| sweep.advance_s(above) - sweep.advance_s(below);
        let [before_s, after_s] = match order {
            1 => FUNDAMENTAL_S,
            _ => [
                LONGEST_S[0],
                LONGEST_S[1].min(ROOM[1] * apart_s(order - 1, order)),
            ],
        };
        let before_s = before_s.min(ROOM[0] * apart_s(order, order + 1));
        Self {
            before_s: share * before_s,
            after_s: share * after_s,
        }
    }

    /// Weight of a lag, counted from the harmonic's own: raised cosines up to a fifth before it and
    /// from half of the reach after it.
    pub fn weight(&self, lag_s: f64) -> f64 {
        flat_top(
            lag_s,
            -self.before_s,
            0.8 * self.before_s,
            0.5 * self.after_s,
            self.after_s,
        )
    }

    /// Integral of the squared weight in seconds: noise passes in proportion to it.
    pub fn noise_s(&self) -> f64 {
        // That of a squared raised cosine is 3/8 of its length.
        self.before_s + self.after_s - 0.625 * (0.8 * self.before_s + 0.5 * self.after_s)
    }

    /// True where it holds enough periods of `frequency_hz`.
    pub fn holds(&self, frequency_hz: f64) -> bool {
        (self.before_s + self.after_s) * frequency_hz >= PERIODS_MIN
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gates_of_neighbouring_harmonics_do_not_touch() {
        for sweep_s in [1.0, 5.0, 60.0] {
            let sweep = Sweep::new(48_000.0, 1.0, 20.0, 20_000.0, sweep_s);
            for order in 1..10 {
                let [low, high] = [order, order + 1].map(|order| Gate::of(order, &sweep, 1.0));
                let apart_s = sweep.advance_s(order + 1) - sweep.advance_s(order);
                assert!(
                    low.before_s + high.after_s < apart_s,
                    "{order}, {sweep_s} s"
                );
            }
        }
    }

    #[test]
    fn noise_of_a_gate_is_the_integral_of_its_square() {
        let gate = Gate {
            before_s: 0.03,
            after_s: 0.1,
        };
        let step_s = 1e-6;
        let sum: f64 = (-30_000..100_000)
            .map(|n| gate.weight(f64::from(n) * step_s).powi(2) * step_s)
            .sum();
        assert!((sum - gate.noise_s()).abs() < 1e-6, "{sum}");
    }
}
