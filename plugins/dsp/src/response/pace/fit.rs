//! Weighted least squares over the rows of all passes.

use super::rows::Row;

/// What a fit leaves free beside the skew and each cell's own delay.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Freedom {
    /// Every pass has a delay of its own.
    pub(super) each_pass: bool,
    /// Rows (pass and cell) within which the delay stepped. They and the cells beside them, to
    /// which the break of the wave reaches, do not count.
    pub(super) broken: Vec<[usize; 2]>,
}

impl Freedom {
    /// Whether the delay stepped within `row` or beside it.
    pub(super) fn is_broken(&self, row: &Row) -> bool {
        self.broken
            .iter()
            .any(|&[pass, cell]| row.pass == pass && row.cell.abs_diff(cell) <= 1)
    }
}

/// The values that fit best. Number 0 is the skew in frames a second; then come, where each pass
/// is free, the delays of passes 1, 2, … against pass 0, then the steps within passes.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    values: Vec<f64>,
    /// Covariance of `values`.
    covariance: Vec<Vec<f64>>,
    /// Weighted sum of squared residuals.
    pub(super) square: f64,
    /// Rows beyond those that the unknowns take up.
    pub(super) spare: f64,
    /// Largest absolute residual in frames.
    pub(super) worst_frames: f64,
}

impl Fit {
    /// Fits `rows` of `pass_count` passes. `None` where they do not tell all that is left free.
    pub(super) fn new(rows: &[Row], pass_count: usize, freedom: &Freedom) -> Option<Self> {
        let kept: Vec<&Row> = rows.iter().filter(|row| !freedom.is_broken(row)).collect();
        let regressors = Regressors::new(rows, pass_count, freedom);
        let count = regressors.count;
        let cell_count = rows.iter().map(|row| row.cell + 1).max()?;
        let mut sums = vec![Sums::new(count); cell_count];
        let mut matrix = vec![vec![0.0; count]; count];
        let mut right = vec![0.0; count];
        for row in &kept {
            let entries = regressors.of(row);
            for &(i, a) in &entries {
                right[i] += row.weight * a * row.delay_frames;
                for &(j, b) in &entries {
                    matrix[i][j] += row.weight * a * b;
                }
            }
            sums[row.cell].add(row, &entries);
        }
        for sum in sums.iter().filter(|sum| sum.weight > 0.0) {
            for i in 0..count {
                right[i] -= sum.moments[i] * sum.delay / sum.weight;
                for (value, moment) in matrix[i].iter_mut().zip(&sum.moments) {
                    *value -= sum.moments[i] * moment / sum.weight;
                }
            }
        }
        let inverse = inverse(&matrix)?;
        let times = |line: &Vec<f64>| line.iter().zip(&right).map(|(a, b)| a * b).sum::<f64>();
        let values: Vec<f64> = inverse.iter().map(times).collect();
        let used = sums.iter().filter(|sum| sum.weight > 0.0).count();
        let spare = kept.len() as f64 - used as f64 - count as f64;
        if spare < 2.0 {
            return None;
        }
        let mut fit = Self {
            values,
            covariance: inverse,
            square: 0.0,
            spare,
            worst_frames: 0.0,
        };
        fit.scatter(&kept, &regressors, cell_count);
        Some(fit)
    }

    /// Adds what the fit leaves, and scales the covariance with it.
    fn scatter(&mut self, rows: &[&Row], regressors: &Regressors, cell_count: usize) {
        let left = |row: &Row| {
            let known = regressors
                .of(row)
                .iter()
                .map(|&(i, a)| a * self.values[i])
                .sum::<f64>();
            row.delay_frames - known
        };
        let mut means = vec![[0.0; 2]; cell_count];
        for row in rows {
            means[row.cell][0] += row.weight * left(row);
            means[row.cell][1] += row.weight;
        }
        let residual = |row: &Row| left(row) - means[row.cell][0] / means[row.cell][1];
        let square = rows
            .iter()
            .map(|row| row.weight * residual(row).powi(2))
            .sum::<f64>();
        let worst = rows
            .iter()
            .map(|row| residual(row).abs())
            .fold(0.0, f64::max);
        (self.square, self.worst_frames) = (square, worst);
        for line in &mut self.covariance {
            for value in line {
                *value *= square / self.spare;
            }
        }
    }

    /// Value number `index`.
    pub(super) fn value(&self, index: usize) -> f64 {
        self.values[index]
    }

    /// Sum of values, each times its factor.
    pub(super) fn sum(&self, terms: &[(usize, f64)]) -> f64 {
        terms
            .iter()
            .map(|&(index, factor)| factor * self.values[index])
            .sum()
    }

    /// One standard deviation of [`Fit::sum`].
    pub(super) fn sigma(&self, terms: &[(usize, f64)]) -> f64 {
        let pairs = terms.iter().flat_map(|a| terms.iter().map(move |b| (a, b)));
        pairs
            .map(|((i, a), (j, b))| a * b * self.covariance[*i][*j])
            .sum::<f64>()
            .max(0.0)
            .sqrt()
    }
}

/// What each unknown does to a row.
struct Regressors {
    count: usize,
    each_pass: bool,
    /// Pass, time in seconds from which on it counts, and number of each step within a pass.
    steps: Vec<(usize, f64, usize)>,
}

impl Regressors {
    fn new(rows: &[Row], pass_count: usize, freedom: &Freedom) -> Self {
        let mut count = if freedom.each_pass { pass_count } else { 1 };
        let mut steps = Vec::new();
        for &[pass, cell] in &freedom.broken {
            if let Some(time_s) = splits(rows, [pass, cell]) {
                steps.push((pass, time_s, count));
                count += 1;
            }
        }
        Self {
            count,
            each_pass: freedom.each_pass,
            steps,
        }
    }

    fn of(&self, row: &Row) -> Vec<(usize, f64)> {
        let mut entries = vec![(0, row.time_s)];
        if self.each_pass && row.pass > 0 {
            entries.push((row.pass, 1.0));
        }
        for &(pass, time_s, index) in &self.steps {
            if row.pass == pass && row.time_s > time_s {
                entries.push((index, 1.0));
            }
        }
        entries
    }
}

/// When the broken row was passed, where its pass has rows before and after it: else no step
/// within the pass can be told.
pub(super) fn splits(rows: &[Row], [pass, cell]: [usize; 2]) -> Option<f64> {
    let of_pass = || rows.iter().filter(|row| row.pass == pass);
    let time_s = of_pass().find(|row| row.cell == cell)?.time_s;
    let mut counting = of_pass().filter(|row| row.cell.abs_diff(cell) > 1);
    let before = counting.clone().any(|row| row.time_s < time_s);
    let after = counting.any(|row| row.time_s > time_s);
    (before && after).then_some(time_s)
}

/// Sums over the rows of one cell.
#[derive(Clone)]
struct Sums {
    weight: f64,
    delay: f64,
    moments: Vec<f64>,
}

impl Sums {
    fn new(count: usize) -> Self {
        Self {
            weight: 0.0,
            delay: 0.0,
            moments: vec![0.0; count],
        }
    }

    fn add(&mut self, row: &Row, entries: &[(usize, f64)]) {
        self.weight += row.weight;
        self.delay += row.weight * row.delay_frames;
        for &(index, value) in entries {
            self.moments[index] += row.weight * value;
        }
    }
}

/// Inverse of a symmetric positive definite matrix by Gauss and Jordan's elimination; `None`
/// where it is singular.
fn inverse(matrix: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let count = matrix.len();
    let mut left = matrix.to_vec();
    let mut right: Vec<Vec<f64>> = (0..count)
        .map(|row| {
            (0..count)
                .map(|column| f64::from(u8::from(row == column)))
                .collect()
        })
        .collect();
    for pivot in 0..count {
        let scale = left[pivot][pivot];
        if scale.is_nan() || scale <= 1e-12 * matrix[pivot][pivot] {
            return None;
        }
        for side in [&mut left, &mut right] {
            side[pivot].iter_mut().for_each(|value| *value /= scale);
        }
        let (left_line, right_line) = (left[pivot].clone(), right[pivot].clone());
        for row in (0..count).filter(|&row| row != pivot) {
            let factor = left[row][pivot];
            for column in 0..count {
                left[row][column] -= factor * left_line[column];
                right[row][column] -= factor * right_line[column];
            }
        }
    }
    Some(right)
}
