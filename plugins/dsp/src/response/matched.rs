//! The paths' own difference, divided out.

use rustfft::num_complex::Complex64;

use super::point::Point;
use crate::decibel::amplitude;

/// What a plain cable in the link's place showed against the reference.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PathDifference<'a> {
    /// Frequencies in Hz, strictly rising.
    pub frequency_hz: &'a [f64],
    /// Gain in dB, as many.
    pub gain_db: &'a [f64],
    /// Phase in degree, latency taken out, continuous, as many.
    pub phase_degree: &'a [f64],
}

impl PathDifference<'_> {
    /// Divides `point` by the difference, interpolated over log f in dB and degree; beyond its
    /// ends their values hold. Without any points it changes nothing.
    pub fn divide(&self, point: &mut Point) {
        let Some((below, above, share)) = self.place(point.frequency_hz) else {
            return;
        };
        let between = |values: &[f64]| values[below] + share * (values[above] - values[below]);
        let phase = between(self.phase_degree).to_radians();
        point.value /= Complex64::from_polar(amplitude(between(self.gain_db)), phase);
    }

    /// Gain in dB at a frequency in Hz, interpolated likewise; 0 without any points.
    #[must_use]
    pub fn gain_db_at(&self, frequency_hz: f64) -> f64 {
        self.place(frequency_hz)
            .map_or(0.0, |(below, above, share)| {
                self.gain_db[below] + share * (self.gain_db[above] - self.gain_db[below])
            })
    }

    /// The points on either side of a frequency, and how far it lies from the first to the second.
    fn place(&self, frequency_hz: f64) -> Option<(usize, usize, f64)> {
        let lengths = [self.frequency_hz, self.gain_db, self.phase_degree].map(<[f64]>::len);
        let last = lengths.into_iter().min()?.checked_sub(1)?;
        let at = self.frequency_hz;
        let above = at[..=last].partition_point(|&f| f < frequency_hz).min(last);
        let below = above.saturating_sub(1);
        let span = (at[above] / at[below]).ln();
        let share = if span > 0.0 {
            ((frequency_hz / at[below]).ln() / span).clamp(0.0, 1.0)
        } else {
            0.0
        };
        Some((below, above, share))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_difference_of_6_db_and_minus_90_degree_is_divided_out_between_its_points() {
        let difference = PathDifference {
            frequency_hz: &[100.0, 1_000.0],
            gain_db: &[4.0, 8.0],
            phase_degree: &[-60.0, -120.0],
        };
        let mut point = Point {
            frequency_hz: 100.0 * 10f64.sqrt(),
            value: Complex64::new(1.0, 0.0),
            variance: 0.0,
            gate_s: 0.1,
        };
        difference.divide(&mut point);
        let want = Complex64::from_polar(amplitude(-6.0), 90f64.to_radians());
        assert!((point.value - want).norm() < 1e-12, "{}", point.value);
        (point.frequency_hz, point.value) = (5_000.0, Complex64::new(1.0, 0.0));
        difference.divide(&mut point);
        assert!((point.value.norm() - amplitude(-8.0)).abs() < 1e-12);
    }
}
