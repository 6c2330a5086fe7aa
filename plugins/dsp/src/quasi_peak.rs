//! The quasi-peak detector of ITU-R BS.468-4.

use std::f64::consts::TAU;

use crate::turn::turns;

/// Time constants in seconds of the two storing stages: charge and leak of the first, charge and
/// leak of the second.
///
/// Fitted to the single-burst and the repeated-burst table of the Recommendation at 192 kHz: every
/// reading lies within a quarter of the way from the table's value to its limit.
const STAGES_S: [[f64; 2]; 2] = [[1.5e-3, 0.293], [0.226, 0.37]];

/// Seconds of a 1 kHz sine after which the reading stands still.
const CALIBRATION_S: f64 = 3.0;

/// Reads the quasi-peak value of a wave that was weighted before.
///
/// Full-wave rectifier and two peak-storing stages with finite charging and discharging times, as
/// the Recommendation describes it (clause 2). A steady 1 kHz sine reads its RMS value. Valid for
/// rates from 44.1 kHz up; silence reads 0, NaN gives NaN.
#[derive(Debug, Clone)]
pub struct QuasiPeak {
    /// Share of the way that is charged and that leaks in one sample, by stage.
    shares: [[f64; 2]; 2],
    stored: [f64; 2],
    /// Reading of a steady 1 kHz sine of RMS 1 before calibration.
    calibration: f64,
}

impl QuasiPeak {
    /// An empty detector for samples at `rate_hz`.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let share = |constant_s: f64| -(-1.0 / (constant_s * rate_hz)).exp_m1();
        let mut detector = Self {
            shares: STAGES_S.map(|stage| stage.map(share)),
            stored: [0.0; 2],
            calibration: 1.0,
        };
        let (count, last) = ((CALIBRATION_S * rate_hz) as usize, (0.1 * rate_hz) as usize);
        let mut steady = 0f64;
        for (n, angle) in turns(0.0, TAU * 1_000.0 / rate_hz).take(count).enumerate() {
            let reading = detector.take(2f64.sqrt() * angle.im);
            if n + last >= count {
                steady = steady.max(reading);
            }
        }
        detector.calibration = steady;
        detector.stored = [0.0; 2];
        detector
    }

    /// Takes one sample and gives the reading, an RMS value of full scale = 1.
    pub fn take(&mut self, sample: f64) -> f64 {
        let mut input = sample.abs();
        for (stored, [charge, leak]) in self.stored.iter_mut().zip(self.shares) {
            if input > *stored {
                *stored += (input - *stored) * charge;
            }
            *stored -= *stored * leak;
            input = *stored;
        }
        input / self.calibration
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A 5 kHz tone, sounding where `on(time_s)`.
    fn highest(rate_hz: f64, length_s: f64, from_s: f64, on: impl Fn(f64) -> bool) -> f64 {
        let mut detector = QuasiPeak::new(rate_hz);
        let mut highest = 0f64;
        for n in 0..(length_s * rate_hz) as usize {
            let time_s = n as f64 / rate_hz;
            let tone = (TAU * 5_000.0 * time_s).sin();
            let reading = detector.take(if on(time_s) { tone } else { 0.0 });
            if time_s >= from_s {
                highest = highest.max(reading);
            }
        }
        highest
    }

    #[test]
    fn single_bursts_of_1_to_200_ms_read_within_the_limits_of_the_recommendation() {
        // ITU-R BS.468-4, Table 2 (from memory): ms, then least and most in % of the steady reading.
        let table = [
            (1, 13.5, 21.4),
            (2, 22.4, 31.6),
            (5, 34.0, 46.0),
            (10, 41.0, 55.0),
            (20, 44.0, 60.0),
            (50, 50.0, 68.0),
            (100, 58.0, 78.0),
            (200, 68.0, 92.0),
        ];
        for rate_hz in [44_100.0, 48_000.0, 96_000.0, 192_000.0] {
            let steady = highest(rate_hz, 3.0, 2.0, |_| true);
            for (length_ms, least, most) in table {
                let burst = highest(rate_hz, 0.5, 0.0, |t| t < 1e-3 * f64::from(length_ms));
                let percent = 100.0 * burst / steady;
                println!("{rate_hz} Hz, {length_ms} ms: {percent:.1} %");
                assert!(least < percent && percent < most, "{length_ms} ms");
            }
        }
    }

    #[test]
    fn bursts_of_5_ms_2_to_100_times_a_second_read_within_the_limits_of_the_recommendation() {
        // ITU-R BS.468-4, Table 3 (from memory): bursts a second, least and most in %.
        for rate_hz in [44_100.0, 48_000.0, 96_000.0, 192_000.0] {
            let steady = highest(rate_hz, 3.0, 2.0, |_| true);
            for (a_second, least, most) in
                [(2.0, 43.0, 53.0), (10.0, 72.0, 82.0), (100.0, 94.0, 100.0)]
            {
                let bursts = highest(rate_hz, 4.0, 3.0, |t| {
                    (t * a_second).fract() < 5e-3 * a_second
                });
                let percent = 100.0 * bursts / steady;
                println!("{rate_hz} Hz, {a_second}/s: {percent:.1} %");
                assert!(least < percent && percent < most, "{a_second} a second");
            }
        }
    }

    #[test]
    fn a_steady_1_khz_sine_reads_its_rms_value_and_twice_the_sine_twice_of_it() {
        let mut detector = QuasiPeak::new(48_000.0);
        let mut reading = 0.0;
        for n in 0..144_000 {
            reading = detector.take(0.2 * (TAU * 1_000.0 / 48_000.0 * f64::from(n)).sin());
        }
        assert!(
            (reading / (0.2 / 2f64.sqrt()) - 1.0).abs() < 2e-3,
            "{reading}"
        );
    }
}
