//! The alignment bursts at both ends of a stimulus.

use std::f64::consts::TAU;

use crate::window::flat_top;

/// Length of one burst in seconds.
pub const BURST_S: f64 = 0.15;

/// Lowest and highest frequency of a burst in Hz.
pub const BURST_BAND_HZ: [f64; 2] = [150.0, 13_000.0];

/// Length of the fades at both ends of a burst in seconds.
const FADE_S: f64 = 0.012;

/// Which end of the stimulus a burst stands at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// Before the body: a chirp upwards.
    Opening,
    /// After the body: the same chirp downwards.
    Closing,
}

/// Sample of a burst of peak 1, `time_s` after its beginning; 0 outside of it.
///
/// An exponential chirp `sin(2 pi f1 L exp(t / L))` over [`BURST_BAND_HZ`] in [`BURST_S`]: every
/// octave has the same energy, its peak factor is that of a sine, and two chirps in opposite
/// directions tell a delay from a clock that is off.
#[must_use]
pub fn sample(end: End, time_s: f64) -> f64 {
    if !(0.0..=BURST_S).contains(&time_s) {
        return 0.0;
    }
    let upwards_s = match end {
        End::Opening => time_s,
        End::Closing => BURST_S - time_s,
    };
    let constant_s = time_constant_s();
    let phase = TAU * BURST_BAND_HZ[0] * constant_s * (upwards_s / constant_s).exp();
    flat_top(time_s, 0.0, FADE_S, FADE_S, BURST_S) * phase.sin()
}

/// Seconds after the beginning of a burst at which it passes `frequency_hz`.
#[must_use]
pub fn time_of_s(end: End, frequency_hz: f64) -> f64 {
    let upwards_s = time_constant_s() * (frequency_hz / BURST_BAND_HZ[0]).ln();
    match end {
        End::Opening => upwards_s,
        End::Closing => BURST_S - upwards_s,
    }
}

fn time_constant_s() -> f64 {
    BURST_S / (BURST_BAND_HZ[1] / BURST_BAND_HZ[0]).ln()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closing_burst_is_the_opening_one_backwards_and_peaks_at_1() {
        let mut peak = 0f64;
        for n in 0..=7_200 {
            let time_s = f64::from(n) / 48_000.0;
            let opening = sample(End::Opening, time_s);
            assert!((opening - sample(End::Closing, BURST_S - time_s)).abs() < 1e-9);
            peak = peak.max(opening.abs());
        }
        assert!((0.999..=1.0).contains(&peak), "peak {peak}");
        assert!(sample(End::Opening, -1e-9).abs() < 1e-15);
    }
}
