//! Where something that rises with the level reaches a mark, between steps and across knees.

use goodwire_dsp::tone::Estimate;

/// Least standard deviation of a level in dB: what joining hard knees and rounding leave.
const LEAST_DB: f64 = 3e-4;

/// One step's reading of what rises with the level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Level at the send in dBFS.
    pub level_dbfs: f64,
    /// The reading.
    pub reading: Estimate,
}

/// A mark on what rises, and how to make it straight.
pub struct Mark<'a> {
    /// The reading that is looked for.
    pub target: f64,
    /// Readings below this may not belong to the rise at all.
    pub least: f64,
    /// Standard deviation that all readings share.
    pub common: f64,
    /// The overdrive in dB at which an ideal clipper gives a reading.
    pub overdrive_db: &'a dyn Fn(f64) -> f64,
}

/// Where the mark lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Crossing {
    /// Level at the send in dBFS.
    At(Estimate),
    /// The mark is passed at every step, the lowest too.
    BelowLowest,
    /// The mark was never reached.
    Never,
}

/// Finds the level at which the readings first rise through the mark.
///
/// Every reading is turned into the overdrive of an ideal clipper that gave the same. Against
/// that, the level is a straight line for a hard knee, wherever between two steps the knee lies,
/// and a smooth curve for a soft one: up to four steps round the mark are joined by a polynomial.
/// Steps below a hard knee are left out, where the line does not hold. Worst error for tanh and
/// cubic links: 0.003 dB with steps of 1 dB, 0.04 dB with 2 dB; for hard knees none but noise.
#[must_use]
pub fn crossing(points: &[Point], mark: &Mark<'_>) -> Crossing {
    let passed = |point: &Point| point.reading.value >= mark.target;
    // What the lowest levels have too much of is noise or crossover distortion, not overdrive.
    let Some(low) = points.iter().position(|point| !passed(point)) else {
        return if points.is_empty() {
            Crossing::Never
        } else {
            Crossing::BelowLowest
        };
    };
    // A single step that passes and falls back is no overdrive either.
    let stays = |pair: &[Point]| pair.iter().all(passed);
    let rest = &points[low..];
    match (0..rest.len()).position(|at| stays(&rest[at..(at + 2).min(rest.len())])) {
        Some(index) => Crossing::At(between(&points[low..], index, mark)),
        None => Crossing::Never,
    }
}

/// The level of the mark, where `index` is the first step above it and not the first of all.
fn between(points: &[Point], index: usize, mark: &Mark<'_>) -> Estimate {
    let chosen: Vec<Point> = (chosen(points, index, mark).into_iter())
        .map(|at| points[at])
        .collect();
    let (below, above) = (points[index - 1].level_dbfs, points[index].level_dbfs);
    let joined = |points: &[Point]| joined(points, mark).clamp(below, above);
    let level_dbfs = joined(&chosen);
    // How much the way of joining the steps matters: the outermost one left out.
    let other = match chosen.len() {
        1 => level_dbfs + (above - below) / 4.0,
        count => joined(&chosen[..count - 1]),
    };
    let variance = (other - level_dbfs).powi(2) + noise_variance(&chosen, level_dbfs, mark, joined);
    Estimate {
        value: level_dbfs,
        uncertainty: variance.sqrt().max(LEAST_DB),
    }
}

/// The level of the mark on the curve through `points`.
fn joined(points: &[Point], mark: &Mark<'_>) -> f64 {
    let knots: Vec<(f64, f64)> = (points.iter())
        .map(|point| ((mark.overdrive_db)(point.reading.value), point.level_dbfs))
        .collect();
    polynomial(&knots, (mark.overdrive_db)(mark.target))
}

/// What the noise of the readings makes of the level: each moved by its deviation, one after the
/// other, and all together by the one that they share.
fn noise_variance(
    points: &[Point],
    level_dbfs: f64,
    mark: &Mark<'_>,
    joined: impl Fn(&[Point]) -> f64,
) -> f64 {
    let moved = |by: &dyn Fn(usize) -> f64| {
        let points: Vec<Point> = (points.iter().enumerate())
            .map(|(at, point)| Point {
                reading: Estimate {
                    value: point.reading.value + by(at),
                    ..point.reading
                },
                ..*point
            })
            .collect();
        (joined(&points) - level_dbfs).powi(2)
    };
    let one = |only: usize| {
        let by = points[only].reading.uncertainty;
        moved(&|at| if at == only { by } else { 0.0 })
    };
    (0..points.len()).map(one).sum::<f64>() + moved(&|_| mark.common)
}

/// The steps that the curve is laid through.
fn chosen(points: &[Point], index: usize, mark: &Mark<'_>) -> Vec<usize> {
    let rising = |at: usize| {
        points.get(at).is_some_and(|point| {
            let before = points[at - 1].reading;
            point.reading.value > before.value + 2.0 * before.uncertainty
        })
    };
    let mut chosen = Vec::new();
    if belongs(points, index - 1, mark) {
        let far =
            points[index - 1].reading.value > 3.0 * points[index.saturating_sub(2)].reading.value;
        if index >= 2 && !far && belongs(points, index - 2, mark) {
            chosen.push(index - 2);
        }
        chosen.push(index - 1);
    }
    chosen.push(index);
    if rising(index + 1) {
        chosen.push(index + 1);
        if chosen.len() == 2 && rising(index + 2) {
            chosen.push(index + 2);
        }
    }
    chosen
}

/// True where the step before the mark is on the rise that leads through it: clear of noise, and
/// grown from the step before it in a way that is at all like the growth after it.
fn belongs(points: &[Point], at: usize, mark: &Mark<'_>) -> bool {
    let reading = points[at].reading;
    if reading.value < mark.least || reading.value < 5.0 * reading.uncertainty {
        return false;
    }
    let Some(before) = at.checked_sub(1) else {
        return true;
    };
    let growth = |from: f64, to: f64| (to / from.max(1e-9)).ln();
    let grown = growth(points[before].reading.value, reading.value);
    let growing = growth(reading.value, points[at + 1].reading.value);
    grown >= growing / 4.0
}

/// Value at `x` of the polynomial through `knots` (Lagrange); through one knot: a straight line of
/// slope 1, the ideal clipper.
fn polynomial(knots: &[(f64, f64)], x: f64) -> f64 {
    if let [(knot, value)] = knots {
        return value + (x - knot);
    }
    let term = |(at, &(knot, value)): (usize, &(f64, f64))| {
        let others = knots.iter().enumerate().filter(|&(other, _)| other != at);
        others.fold(value, |product, (_, &(other, _))| {
            product * (x - other) / (knot - other)
        })
    };
    knots.iter().enumerate().map(term).sum()
}

#[cfg(test)]
mod tests;
