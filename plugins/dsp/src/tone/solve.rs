//! The normal equations of a harmonic fit. With a weight that is even about its middle, cosines
//! (direct current among them) and sines do not mix, so there are two small symmetric systems.

/// Solves for the cosines of orders 0 to `right.len() - 1`.
///
/// `sums[m]` is the weighted sum of `cos(m w t)`; `right[k]` that of `x cos(k w t)`.
/// The matrix is `(sums[|k - l|] + sums[k + l]) / 2`.
pub(super) fn solve_cosines(sums: &[f64], right: Vec<f64>) -> Vec<f64> {
    solve(right, |k, l| (sums[k.abs_diff(l)] + sums[k + l]) / 2.0)
}

/// Solves for the sines of orders 1 to `right.len()`, with the matrix
/// `(sums[|k - l|] - sums[k + l]) / 2`.
pub(super) fn solve_sines(sums: &[f64], right: Vec<f64>) -> Vec<f64> {
    solve(right, |k, l| (sums[k.abs_diff(l)] - sums[k + l + 2]) / 2.0)
}

/// Solves a symmetric positive definite system by Cholesky's factorisation.
fn solve(mut right: Vec<f64>, matrix: impl Fn(usize, usize) -> f64) -> Vec<f64> {
    let count = right.len();
    let mut factor = vec![vec![0.0; count]; count];
    for row in 0..count {
        for column in 0..=row {
            let known: f64 = (0..column)
                .map(|k| factor[row][k] * factor[column][k])
                .sum();
            let rest = matrix(row, column) - known;
            factor[row][column] = if row == column {
                rest.sqrt()
            } else {
                rest / factor[column][column]
            };
        }
    }
    for row in 0..count {
        let known: f64 = (0..row).map(|k| factor[row][k] * right[k]).sum();
        right[row] = (right[row] - known) / factor[row][row];
    }
    for row in (0..count).rev() {
        let known: f64 = (row + 1..count).map(|k| factor[k][row] * right[k]).sum();
        right[row] = (right[row] - known) / factor[row][row];
    }
    right
}
