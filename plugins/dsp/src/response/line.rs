//! Delay and polarity from a phase.

use std::f64::consts::{PI, TAU};

use super::point::Point;

/// Highest multiple of 180 degrees that the line may start from: phase is only known to a turn.
const HALF_TURNS_MAX: i32 = 6;

/// The wrong line is taken where noise exceeds half of the distance: at 10 deviations in fewer than
/// one of three million cases.
const CLEAR_MIN: f64 = 10.0;
/// Variance in rad^2 from which on a phase may be unwrapped to the wrong turn: half a turn is then
/// 7 deviations of the difference of neighbours.
const LOST_VARIANCE: f64 = 0.1;
/// More lost points than this break the line where they lie in a row.
const LOST_SHARE_MAX: f64 = 0.1;

/// The straight line through 0 or 180 degrees at 0 Hz that fits a phase best.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Delay in seconds: `-1 / (2 pi)` of the slope.
    pub delay_s: f64,
    /// One standard deviation of `delay_s`.
    pub sigma_s: f64,
    /// -1 where the line starts from 180 degrees, else 1.
    pub polarity: f64,
    /// Deviations by which the noise would have to lie for a line from half a turn further to fit
    /// as well: the distance of the two hypotheses (Kay 1998, detection of a known signal).
    pub clear_by: f64,
    /// Share of the points whose phase the noise leaves open.
    pub lost_share: f64,
}

impl Line {
    /// Whether delay and polarity are told apart: a band that is too narrow, or lies in the noise,
    /// leaves several lines that fit as well, each half a period from the next.
    #[must_use]
    pub fn is_sure(&self) -> bool {
        self.clear_by >= CLEAR_MIN && self.lost_share <= LOST_SHARE_MAX
    }
}

/// Fits the phase of `points`, evenly spaced over linear frequency, with even weight over log
/// frequency: minimises `sum (phase(f) - n pi + 2 pi f delay)^2 / f` over delay and whole n.
///
/// For sweeps, whose energy falls with f, in white noise this is the maximum-likelihood weight.
/// The delay that `points` still have is below half of the inverse of their spacing. `None` for
/// fewer than two points.
#[must_use]
pub fn fit_line(points: &[Point]) -> Option<Line> {
    let [first, second, ..] = points else {
        return None;
    };
    let spacing_hz = second.frequency_hz - first.frequency_hz;
    let phases = unwrapped(points);
    // With weight 1/f and regressor -2 pi f each point counts alike in the numerator.
    let square: f64 = points.iter().map(|p| TAU * TAU * p.frequency_hz).sum();
    let fit = |half_turns: i32| {
        let start = f64::from(half_turns) * PI;
        let moment: f64 = phases.iter().map(|phase| -TAU * (phase - start)).sum();
        let delay_s = moment / square;
        let residual: f64 = points
            .iter()
            .zip(&phases)
            .map(|(p, phase)| {
                (phase - start + TAU * p.frequency_hz * delay_s).powi(2) / p.frequency_hz
            })
            .sum();
        (residual, delay_s, half_turns)
    };
    let (_, delay_s, half_turns) = (-HALF_TURNS_MAX..=HALF_TURNS_MAX)
        .map(fit)
        .min_by(|a, b| a.0.total_cmp(&b.0))?;
    // Neighbours under one gate are one value where they lie closer than its resolution.
    let variance = |p: &Point| p.variance / 2.0 * (1.0 / (p.gate_s * spacing_hz)).max(1.0);
    let apart = |other: i32| {
        let (_, other_s, _) = fit(other);
        let turn = f64::from(other - half_turns) * PI;
        let squares = points.iter().map(|p| {
            let phase = turn - TAU * p.frequency_hz * (other_s - delay_s);
            phase.powi(2) / variance(p).max(f64::MIN_POSITIVE)
        });
        squares.sum::<f64>().sqrt()
    };
    let is_lost = |p: &&Point| p.variance / 2.0 > LOST_VARIANCE;
    Some(Line {
        delay_s,
        sigma_s: points.iter().map(variance).sum::<f64>().sqrt() * TAU / square,
        polarity: if half_turns % 2 == 0 { 1.0 } else { -1.0 },
        clear_by: apart(half_turns - 1).min(apart(half_turns + 1)),
        lost_share: points.iter().filter(is_lost).count() as f64 / points.len() as f64,
    })
}

/// Phase in rad, continuous from the first point on: neighbours differ by less than half a turn.
#[must_use]
pub fn unwrapped(points: &[Point]) -> Vec<f64> {
    let mut phases = Vec::with_capacity(points.len());
    for point in points {
        let phase = point.value.arg();
        let turns = phases
            .last()
            .map_or(0.0, |last: &f64| ((last - phase) / TAU).round());
        phases.push(phase + turns * TAU);
    }
    phases
}

#[cfg(test)]
mod tests {
    use super::*;
    use rustfft::num_complex::Complex64;

    fn points(value: impl Fn(f64) -> Complex64) -> Vec<Point> {
        (0..900)
            .map(|n| 1_000.0 + 10.0 * f64::from(n))
            .map(|frequency_hz| Point {
                frequency_hz,
                value: value(frequency_hz),
                variance: 1e-6,
                gate_s: 0.1,
            })
            .collect()
    }

    #[test]
    fn a_delay_of_0_7_ms_inverted_is_found_exactly() {
        let line = fit_line(&points(|f| -Complex64::cis(-TAU * f * 0.7e-3))).unwrap();
        assert!((line.delay_s - 0.7e-3).abs() < 1e-15, "{line:?}");
        assert!(line.polarity < 0.0);
    }

    #[test]
    fn a_third_of_an_octave_in_noise_leaves_open_which_line_it_is_and_a_decade_does_not() {
        let noisy = |from_hz: f64, to_hz: f64, variance: f64| {
            let all = points(|f| Complex64::cis(-TAU * f * 0.7e-3));
            let within = all
                .into_iter()
                .filter(|p| (from_hz..to_hz).contains(&p.frequency_hz));
            let line = fit_line(&within.map(|p| Point { variance, ..p }).collect::<Vec<_>>());
            line.expect("there are points")
        };
        assert!(noisy(1_000.0, 10_000.0, 0.1).is_sure());
        assert!(noisy(3_550.0, 4_470.0, 1e-4).is_sure());
        assert!(!noisy(1_000.0, 1_122.0, 0.05).is_sure());
        assert!(
            !noisy(1_000.0, 10_000.0, 1.0).is_sure(),
            "its phases are noise"
        );
    }

    #[test]
    fn a_first_order_low_pass_at_100_khz_delays_by_1_587_us() {
        // Closed form, integrated with scipy.integrate.quad over 1 to 10 kHz:
        // integral of atan(f / fc) df / (2 pi integral of f df) = 1.587_6 us.
        let line = fit_line(&points(|f| 1.0 / Complex64::new(1.0, f / 100e3))).unwrap();
        let phase = |f: f64| (f / 100e3).atan();
        let (count, mut top, mut bottom) = (90_000, 0.0, 0.0);
        for n in 0..count {
            let f = 1_000.0 + (f64::from(n) + 0.5) * 9_000.0 / f64::from(count);
            top += phase(f);
            bottom += TAU * f;
        }
        assert!(
            (line.delay_s - top / bottom).abs() < 1e-10,
            "{line:?} {}",
            top / bottom
        );
        assert!((line.delay_s - 1.587e-6).abs() < 2e-9);
    }
}
