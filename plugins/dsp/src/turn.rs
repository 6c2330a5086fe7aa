//! Cosines and sines of an angle that grows evenly.

use rustfft::num_complex::Complex64;

/// A phasor is multiplied up over so many steps, then taken afresh: its error stays below 1e-13.
const ANEW: usize = 512;

/// `exp(j (first + n step))` for `n` from 0 on, without end; angles in radians.
#[must_use]
pub fn turns(first: f64, step: f64) -> Turns {
    Turns {
        first,
        step,
        turn: Complex64::cis(step),
        next: Complex64::default(),
        index: 0,
    }
}

/// See [`turns`].
#[derive(Debug, Clone)]
pub struct Turns {
    first: f64,
    step: f64,
    turn: Complex64,
    next: Complex64,
    index: usize,
}

impl Iterator for Turns {
    type Item = Complex64;

    fn next(&mut self) -> Option<Complex64> {
        if self.index.is_multiple_of(ANEW) {
            self.next = Complex64::cis(self.first + self.step * self.index as f64);
        }
        let now = self.next;
        self.next *= self.turn;
        self.index += 1;
        Some(now)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn phasors_of_100_000_steps_are_those_of_sine_and_cosine_within_1e_13_and_their_rounding() {
        for (first, step) in [(0.3, 0.130_5), (-2.0, 3.1), (0.0, 1e-5)] {
            for (n, phasor) in turns(first, step).take(100_000).enumerate() {
                let angle = first + step * n as f64;
                // The angle itself is rounded, here and there.
                let within = 1e-13 + 2.0 * f64::EPSILON * angle.abs();
                assert!(
                    (phasor - Complex64::cis(angle)).norm() < within,
                    "{step}: {n}"
                );
            }
        }
    }
}
