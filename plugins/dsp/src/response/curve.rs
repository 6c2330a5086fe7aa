//! What is read off a response: power means, phase and group delay.

use std::f64::consts::{LN_10, TAU};

use super::line::{Line, unwrapped};
use super::point::Point;
use crate::decibel::{DB_PER_NEPER, power_db};

/// Ratio of an octave in base ten, `10^(3/10)`: IEC 61260-1:2014, 5.2.1 (clause from memory).
const OCTAVE_LN: f64 = 0.3 * LN_10;

/// Power that a level is never taken below: -300 dB.
const POWER_MIN: f64 = 1e-30;

/// A level in dB and its standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// The level in dB.
    pub db: f64,
    /// One standard deviation in dB.
    pub sigma_db: f64,
}

/// Level of one point. The logarithm of `|1 + n|^2` has mean 0 for circular noise n, so nothing
/// is taken out.
#[must_use]
pub fn level(point: &Point) -> Level {
    Level {
        db: power_db(point.value.norm_sqr().max(POWER_MIN)),
        sigma_db: DB_PER_NEPER * point.sigma(),
    }
}

/// Power mean of points that are evenly spaced over log f, the mean power of their noise taken
/// out. At least one point.
///
/// Points closer than the resolution of their gate share their noise, so the variance falls with
/// bandwidth times gate, not with their number; and of one independent value the level is that
/// of [`level`].
#[must_use]
pub fn power_mean(points: &[Point]) -> Level {
    let count = points.len() as f64;
    let (first, last) = (&points[0], &points[points.len() - 1]);
    let band_hz = (last.frequency_hz - first.frequency_hz) * count / (count - 1.0).max(1.0);
    let cells = |p: &Point| (band_hz * p.gate_s).clamp(1.0, count);
    let power = |p: &Point| {
        let noise = p.variance * (1.0 - 1.0 / cells(p));
        p.value.norm_sqr().max(POWER_MIN) / (1.0 + noise)
    };
    let mean = points.iter().map(power).sum::<f64>() / count;
    // Each point weighs by its own power.
    let variance = points
        .iter()
        .map(|p| (power(p) / mean).powi(2) * p.sigma().powi(2) / cells(p))
        .sum::<f64>()
        / count;
    Level {
        db: power_db(mean),
        sigma_db: DB_PER_NEPER * variance.sqrt(),
    }
}

/// Half width of a band of an `1/fraction` octave as a factor: its edges are `f / factor` and
/// `f * factor` (IEC 61260-1: `G^(1 / (2 b))`).
#[must_use]
pub fn half_band(fraction: f64) -> f64 {
    (OCTAVE_LN / (2.0 * fraction)).exp()
}

/// Each point's power mean over the band of `1/fraction` octave about it, cut off at the ends.
/// `points` are evenly spaced over log f.
#[must_use]
pub fn smoothed(points: &[Point], fraction: f64) -> Vec<Level> {
    let factor = half_band(fraction) * (1.0 + 1e-9);
    points
        .iter()
        .map(|centre| {
            let below = |p: &Point| p.frequency_hz < centre.frequency_hz / factor;
            let upto = |p: &Point| p.frequency_hz <= centre.frequency_hz * factor;
            let from = points.partition_point(below);
            let to = points.partition_point(upto);
            power_mean(&points[from..to])
        })
        .collect()
}

/// Phase in rad with `line`'s delay taken out, continuous; an inverted response lies about pi.
/// `points` are evenly spaced over log f.
#[must_use]
pub fn phase(points: &[Point], line: &Line) -> Vec<f64> {
    let straight: Vec<Point> = points
        .iter()
        .map(|point| Point {
            value: point.value
                * rustfft::num_complex::Complex64::cis(TAU * point.frequency_hz * line.delay_s),
            ..*point
        })
        .collect();
    let mut phases = unwrapped(&straight);
    // The line was fitted about 3 kHz: there the phase lies within half a turn of 0 or pi.
    let anchor = points.partition_point(|p| p.frequency_hz < 3_000.0);
    let anchor = anchor.min(points.len().saturating_sub(1));
    let base = if line.polarity < 0.0 { TAU / 2.0 } else { 0.0 };
    if let Some(at) = phases.get(anchor).copied() {
        let turns = ((at - base) / TAU).round() * TAU;
        for phase in &mut phases {
            *phase -= turns;
        }
    }
    phases
}

/// Group delay in seconds, `-dphase / (2 pi df)`, and its standard deviation, over neighbouring
/// points; at the ends over one step.
#[must_use]
pub fn group_delay(points: &[Point], phases: &[f64]) -> Vec<[f64; 2]> {
    let last = points.len() - 1;
    (0..points.len())
        .map(|index| {
            let (from, to) = (index.saturating_sub(1), (index + 1).min(last));
            let apart = TAU * (points[to].frequency_hz - points[from].frequency_hz);
            // Within the gate's resolution the noise of both points is alike, and what is left
            // grows with their distance: the RMS length of the gate times the phase's noise.
            let point = &points[index];
            let apart_sigma = (2f64.sqrt() / apart).min(point.gate_s / 12f64.sqrt());
            [
                -(phases[to] - phases[from]) / apart,
                point.sigma() * apart_sigma,
            ]
        })
        .collect()
}
