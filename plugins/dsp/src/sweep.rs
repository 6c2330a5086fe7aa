//! The exponential sweep, in its synchronized form.

use std::f64::consts::TAU;

use crate::stimulus::Body;
use crate::window::rise;

/// How far above `stop_hz` the fade-out reaches, in octaves.
const FADE_OUT_OCTAVES: f64 = 1.0 / 6.0;

/// Share of the rate that no sweep passes: beyond it converters filter.
const HIGHEST_RATE_SHARE: f64 = 0.49;

/// `x(t) = A w(t) sin(2 pi f0 L exp(t / L))`, instantaneous frequency `f0 exp(t / L)`.
///
/// Synchronized form: A. Novak, P. Lotton, L. Simon, JAES 63(10), 786-798 (2015): harmonic N of
/// it is the sweep itself, `L ln N` earlier, without any condition on the parameters. `w` fades
/// in over the octave below `start_hz` and out above `stop_hz`, so that all of the asked band is
/// fully excited. Spectrum by stationary phase: `|X(f)|^2 = A^2 L / (4 f)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sweep {
    /// Rate in Hz that frames are counted in.
    pub rate_hz: f64,
    /// Peak, linear.
    pub amplitude: f64,
    /// Frequency at frame 0, where the fade-in begins.
    pub begin_hz: f64,
    /// Lower end of the asked band in Hz.
    pub start_hz: f64,
    /// Upper end of the asked band in Hz.
    pub stop_hz: f64,
    /// Frequency in Hz at the end of the fade-out.
    pub end_hz: f64,
    /// L in seconds: time in which the frequency grows by the factor e.
    pub time_constant_s: f64,
}

impl Sweep {
    /// A sweep that takes `duration_s` from `start_hz` to `stop_hz`; the fades come on top.
    ///
    /// Valid for `0 < start_hz < stop_hz < 0.49 rate_hz`, `duration_s > 0`.
    #[must_use]
    pub fn new(rate_hz: f64, amplitude: f64, start_hz: f64, stop_hz: f64, duration_s: f64) -> Self {
        Self {
            rate_hz,
            amplitude,
            begin_hz: start_hz / 2.0,
            start_hz,
            stop_hz,
            end_hz: (stop_hz * FADE_OUT_OCTAVES.exp2()).min(HIGHEST_RATE_SHARE * rate_hz),
            time_constant_s: duration_s / (stop_hz / start_hz).ln(),
        }
    }

    /// The same sweep at another amplitude.
    #[must_use]
    pub fn with_amplitude(self, amplitude: f64) -> Self {
        Self { amplitude, ..self }
    }

    /// Seconds after frame 0 at which the sweep passes `frequency_hz`.
    #[must_use]
    pub fn time_of_s(&self, frequency_hz: f64) -> f64 {
        self.time_constant_s * (frequency_hz / self.begin_hz).ln()
    }

    /// Seconds by which harmonic `order` of the sweep comes early: `L ln N`.
    #[must_use]
    pub fn advance_s(&self, order: u32) -> f64 {
        self.time_constant_s * f64::from(order).ln()
    }

    /// Length in seconds, fades included.
    #[must_use]
    pub fn length_s(&self) -> f64 {
        self.time_of_s(self.end_hz)
    }
}

impl Body for Sweep {
    fn frame_count(&self) -> usize {
        (self.length_s() * self.rate_hz).ceil() as usize
    }

    fn sample(&self, frame: usize) -> f64 {
        let time_s = frame as f64 / self.rate_hz;
        let frequency_hz = self.begin_hz * (time_s / self.time_constant_s).exp();
        let mut fade = 1.0;
        if frequency_hz < self.start_hz {
            fade = rise(time_s / self.time_of_s(self.start_hz));
        } else if frequency_hz > self.stop_hz {
            let from_s = self.time_of_s(self.stop_hz);
            fade = 1.0 - rise((time_s - from_s) / (self.length_s() - from_s));
        }
        self.amplitude * fade * (TAU * self.time_constant_s * frequency_hz).sin()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fft::{Transform, smooth_size};

    #[test]
    fn spectrum_is_that_of_stationary_phase_within_0_01_db_from_100_hz_to_10_khz() {
        let sweep = Sweep::new(48_000.0, 1.0, 20.0, 20_000.0, 5.0);
        assert!((sweep.time_constant_s - 0.723_824_1).abs() < 1e-7);
        let samples: Vec<f64> = (0..sweep.frame_count()).map(|n| sweep.sample(n)).collect();
        let size = smooth_size(samples.len());
        let [spectrum, _] = Transform::new(size).forward_pair(&samples, &[]);
        for frequency_hz in [100.0, 1_000.0, 3_000.0, 10_000.0] {
            let bin = (frequency_hz * size as f64 / 48_000.0).round();
            let exact_hz = bin * 48_000.0 / size as f64;
            let want = (sweep.time_constant_s / (4.0 * exact_hz)).sqrt() * 48_000.0;
            let got_db = crate::decibel::db(spectrum[bin as usize].norm() / want);
            assert!(got_db.abs() < 0.01, "{frequency_hz} Hz: {got_db} dB off");
        }
    }

    #[test]
    fn second_harmonic_comes_501_717_ms_early_for_5_s_over_three_decades() {
        let sweep = Sweep::new(48_000.0, 1.0, 20.0, 20_000.0, 5.0);
        assert!((sweep.advance_s(2) - 0.501_717).abs() < 1e-6);
        // The square of the sweep is 1/2 - 1/2 cos of twice its phase: the sweep L ln 2 later.
        let now = 100_000.0 / 48_000.0;
        let phase = |t: f64| {
            TAU * sweep.time_constant_s * sweep.begin_hz * (t / sweep.time_constant_s).exp()
        };
        let later = phase(now + sweep.advance_s(2));
        assert!((2.0 * phase(now) / later - 1.0).abs() < 1e-12);
    }
}
