//! Points of a response and the frequencies that they stand at.

use rustfft::num_complex::Complex64;

/// A response at one frequency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Frequency in Hz.
    pub frequency_hz: f64,
    /// Complex gain, with the delay that was not taken out before.
    pub value: Complex64,
    /// Variance of `value` (real plus imaginary part) relative to its power.
    pub variance: f64,
    /// Length in seconds of the gate: values closer than its inverse share their noise.
    pub gate_s: f64,
}

impl Point {
    /// Standard deviation of magnitude (relative) and phase (rad): half of the variance lies in
    /// each. Held to 1, beyond which the approximation says nothing.
    #[must_use]
    pub fn sigma(&self) -> f64 {
        (self.variance / 2.0).sqrt().min(1.0)
    }
}

/// Frequencies evenly spaced over log f, from `from_hz` to `to_hz` inclusive, `per_octave` or a
/// few more in every octave. Valid for `0 < from_hz < to_hz`.
#[must_use]
pub fn log_grid(from_hz: f64, to_hz: f64, per_octave: f64) -> Vec<f64> {
    let octaves = (to_hz / from_hz).log2();
    let steps = (octaves * per_octave).ceil().max(1.0);
    (0..=steps as usize)
        .map(|index| from_hz * (octaves * index as f64 / steps).exp2())
        .map(|frequency_hz| frequency_hz.clamp(from_hz, to_hz))
        .collect()
}

/// `count` frequencies between two, each in the middle of its share: evenly spaced over f.
#[must_use]
pub fn linear_grid(from_hz: f64, to_hz: f64, count: usize) -> Vec<f64> {
    let share = |index: usize| (index as f64 + 0.5) / count as f64;
    (0..count)
        .map(|index| from_hz + (to_hz - from_hz) * share(index))
        .collect()
}

/// Band in Hz whose phase gives the latency, where the link passes it.
const LATENCY_BAND_HZ: [f64; 2] = [1_000.0, 10_000.0];

/// Frequencies whose phase gives the latency: 1 to 10 kHz within the corners and the swept band,
/// or, where less than half an octave of that is left, all between the corners.
#[must_use]
pub fn latency_grid(edges: &super::corners::Corners, band_hz: [f64; 2]) -> Vec<f64> {
    let low_hz = edges
        .low
        .map_or(band_hz[0], |corner| corner.hz.max(band_hz[0]));
    let high_hz = edges
        .high
        .map_or(band_hz[1], |corner| corner.hz.min(band_hz[1]));
    let (from_hz, to_hz) = (
        LATENCY_BAND_HZ[0].max(low_hz),
        LATENCY_BAND_HZ[1].min(high_hz),
    );
    if to_hz < 1.5 * from_hz {
        return linear_grid(low_hz, high_hz, 1_200);
    }
    linear_grid(from_hz, to_hz, 1_200)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_decades_at_24_an_octave_are_241_points_from_end_to_end() {
        let grid = log_grid(20.0, 20_000.0, 24.0);
        assert_eq!(grid.len(), 241);
        assert!((grid[0] - 20.0).abs() < 1e-12 && (grid[240] - 20_000.0).abs() < 1e-9);
        assert!(grid.windows(2).all(|pair| pair[0] < pair[1]));
    }
}
