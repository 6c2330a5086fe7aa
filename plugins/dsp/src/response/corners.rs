//! Where a response falls off.

use super::curve::Level;

/// Half width in octaves of the stretch that a parabola is laid through at a crossing.
const STRETCH_OCTAVES: f64 = 1.0 / 8.0;
/// Half width in octaves of the averages that a crossing is first looked for in.
const AVERAGED_OCTAVES: f64 = 1.0 / 6.0;
/// How often the stretch is moved to the crossing that was found in it.
const ROUNDS: usize = 6;

/// The crossing of a level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Corner {
    /// Where it lies in Hz.
    pub hz: f64,
    /// One standard deviation of `hz`, from the noise of the curve alone.
    pub sigma_hz: f64,
    /// Hz that it moves for each dB of the level.
    pub hz_per_db: f64,
}

/// Where the outermost crossings of a level lie.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Corners {
    /// Lower crossing; `None` where the curve starts above.
    pub low: Option<Corner>,
    /// Upper crossing; `None` where the curve ends above.
    pub high: Option<Corner>,
}

/// A curve whose crossings are looked for.
#[derive(Debug, Clone, Copy)]
pub struct Curve<'a> {
    /// Frequencies in Hz, evenly spaced over log f.
    pub frequencies_hz: &'a [f64],
    /// Its levels, as many.
    pub levels: &'a [Level],
    /// Length of each level's gate in seconds, as many: levels closer than its inverse share
    /// their noise.
    pub gates_s: &'a [f64],
}

/// Outermost crossings of `threshold_db`: beyond them the curve stays below. Both absent where
/// all of the curve is below.
///
/// In noise the outermost crossing of the points lies too far out. Where a parabola over a quarter
/// of an octave differs from the points by no more than their noise, its crossing counts, which
/// has more of the curve behind it; else that of the straight line between two points.
#[must_use]
pub fn corners(curve: &Curve<'_>, threshold_db: f64) -> Corners {
    let straight = curve.outermost(curve.levels, threshold_db);
    // Averages over a third of an octave cross near the truth, whatever single points do.
    let smooth = curve.outermost(&curve.averaged(), threshold_db);
    let better = |start: Option<Corner>, straight: Option<Corner>| {
        let straight = straight?;
        let refined = start.and_then(|start| curve.refined(&start, threshold_db));
        Some(refined.unwrap_or(straight))
    };
    Corners {
        low: better(smooth.low, straight.low),
        high: better(smooth.high, straight.high),
    }
}

impl Curve<'_> {
    /// Outermost crossings of `levels` in straight lines.
    fn outermost(&self, levels: &[Level], threshold_db: f64) -> Corners {
        let above = |level: &Level| level.db >= threshold_db;
        let (Some(first), Some(last)) = (
            levels.iter().position(above),
            levels.iter().rposition(above),
        ) else {
            return Corners::default();
        };
        let crossing =
            |inside: usize, outside: usize| self.straight(levels, [inside, outside], threshold_db);
        Corners {
            low: first.checked_sub(1).map(|outside| crossing(first, outside)),
            high: (last + 1 < levels.len()).then(|| crossing(last, last + 1)),
        }
    }

    /// Means of the levels in dB over a sixth of an octave on either side.
    fn averaged(&self) -> Vec<Level> {
        (0..self.levels.len())
            .map(|index| {
                let near =
                    |f: &f64| (f / self.frequencies_hz[index]).log2().abs() < AVERAGED_OCTAVES;
                let (before, after) = self.frequencies_hz.split_at(index);
                let low = index - before.iter().rev().take_while(|f| near(f)).count();
                let high = index + after.iter().take_while(|f| near(f)).count();
                let about = &self.levels[low..high];
                let sum: f64 = about.iter().map(|level| level.db).sum();
                Level {
                    db: sum / about.len() as f64,
                    ..self.levels[index]
                }
            })
            .collect()
    }

    /// The crossing of the straight line over log f between two neighbours.
    fn straight(
        &self,
        levels: &[Level],
        [inside, outside]: [usize; 2],
        threshold_db: f64,
    ) -> Corner {
        let (a, b) = (&levels[inside], &levels[outside]);
        let share = (a.db - threshold_db) / (a.db - b.db);
        let (fa, fb) = (
            self.frequencies_hz[inside].ln(),
            self.frequencies_hz[outside].ln(),
        );
        let hz = (fa + share * (fb - fa)).exp();
        let hz_per_db = hz * (fb - fa).abs() / (a.db - b.db).abs().max(1e-9);
        Corner {
            hz,
            sigma_hz: a.sigma_db * hz_per_db,
            hz_per_db,
        }
    }

    /// The crossing of a parabola about `start`.
    fn refined(&self, start: &Corner, threshold_db: f64) -> Option<Corner> {
        let mut corner = *start;
        for _ in 0..ROUNDS {
            corner = self.of_parabola(corner.hz, threshold_db)?;
        }
        Some(corner)
    }

    fn of_parabola(&self, about_hz: f64, threshold_db: f64) -> Option<Corner> {
        let near = |f: &f64| (f / about_hz).log2().abs() <= STRETCH_OCTAVES;
        let first = self.frequencies_hz.iter().position(near)?;
        let end = self.frequencies_hz.iter().rposition(near)? + 1;
        let rows: Vec<[f64; 2]> = (first..end)
            .map(|n| [(self.frequencies_hz[n] / about_hz).ln(), self.levels[n].db])
            .collect();
        if rows.len() < 8 {
            return None;
        }
        let parabola = Parabola::through(&rows)?;
        let [a, b, c] = parabola.factors;
        let square: f64 = rows
            .iter()
            .map(|[x, y]| (y - a - b * x - c * x * x).powi(2))
            .sum();
        let middle = usize::midpoint(first, end);
        let sigma_db = self.levels[middle].sigma_db;
        let span_hz = self.frequencies_hz[end - 1] - self.frequencies_hz[first];
        let cells = (span_hz * self.gates_s[middle]).clamp(1.0, rows.len() as f64);
        // More than four standard deviations above the noise is no noise.
        let allowed = sigma_db.powi(2) * (1.0 + 4.0 * (2.0 / cells).sqrt());
        if square / rows.len() as f64 > allowed || cells < 4.0 {
            return None;
        }
        // From the middle of the stretch by Newton's rule: the crossing is near.
        let mut x = 0.0;
        for _ in 0..4 {
            x -= (a + b * x + c * x * x - threshold_db) / (b + 2.0 * c * x);
        }
        if x.is_nan() || x.abs() > STRETCH_OCTAVES {
            return None;
        }
        let hz = about_hz * x.exp();
        let hz_per_db = hz / (b + 2.0 * c * x).abs();
        let alike = rows.len() as f64 / cells;
        Some(Corner {
            hz,
            sigma_hz: sigma_db * (parabola.variance_at(x) * alike).sqrt() * hz_per_db,
            hz_per_db,
        })
    }
}

/// A parabola of least squares.
struct Parabola {
    factors: [f64; 3],
    inverse: [[f64; 3]; 3],
}

impl Parabola {
    fn through(rows: &[[f64; 2]]) -> Option<Self> {
        let sum = |power: i32| rows.iter().map(|[x, _]| x.powi(power)).sum::<f64>();
        let s = [0, 1, 2, 3, 4].map(sum);
        let t = [0, 1, 2].map(|power| rows.iter().map(|[x, y]| x.powi(power) * y).sum::<f64>());
        let m = [[s[0], s[1], s[2]], [s[1], s[2], s[3]], [s[2], s[3], s[4]]];
        let minor = |i: usize, j: usize| {
            let (r, q) = ((i + 1) % 3, (i + 2) % 3);
            let (u, v) = ((j + 1) % 3, (j + 2) % 3);
            m[r][u] * m[q][v] - m[r][v] * m[q][u]
        };
        let determinant: f64 = (0..3).map(|j| m[0][j] * minor(0, j)).sum();
        if determinant.abs() < f64::MIN_POSITIVE {
            return None;
        }
        let inverse: [[f64; 3]; 3] =
            std::array::from_fn(|i| std::array::from_fn(|j| minor(j, i) / determinant));
        let factors = inverse.map(|row| (0..3).map(|j| row[j] * t[j]).sum());
        Some(Self { factors, inverse })
    }

    /// Variance of its value at `x` for values of variance 1.
    fn variance_at(&self, x: f64) -> f64 {
        let powers = [1.0, x, x * x];
        let of_row = |i: usize| {
            (0..3)
                .map(|j| powers[i] * self.inverse[i][j] * powers[j])
                .sum::<f64>()
        };
        (0..3).map(of_row).sum()
    }
}
