//! Lagrange's interpolation of evenly spaced values.

/// Weights of the four values at -1, 0, 1 and 2 for the place `x`, 0 to 1: off by at most
/// `9/16 / 4! = 0.023` times the fourth derivative (Lagrange's remainder).
#[must_use]
pub fn cubic(x: f64) -> [f64; 4] {
    lagrange(x, 1.0)
}

/// Weights of the eight values at -3 to 4 for the place `x`, 0 to 1: off by at most
/// `(1 3 5 7 / 16)^2 / 8! = 0.001_1` times the eighth derivative (Lagrange's remainder).
#[must_use]
pub fn eight(x: f64) -> [f64; 8] {
    lagrange(x, 3.0)
}

/// Weights of `COUNT` values, the first of which lies at `-before`.
fn lagrange<const COUNT: usize>(x: f64, before: f64) -> [f64; COUNT] {
    std::array::from_fn(|index| {
        let own = index as f64 - before;
        (0..COUNT)
            .filter(|&other| other != index)
            .map(|other| other as f64 - before)
            .map(|other| (x - other) / (own - other))
            .product()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn polynomials_of_degree_3_and_7_come_back_within_1e_12() {
        for x in [0.0, 0.3, 0.5, 1.0] {
            let third = |x: f64| 1.0 - x + 0.5 * x.powi(3);
            let seventh = |x: f64| third(x) - 0.01 * x.powi(7);
            let four = cubic(x);
            let got: f64 = (0..4).map(|k| four[k] * third(k as f64 - 1.0)).sum();
            assert!((got - third(x)).abs() < 1e-12, "{x}: {got}");
            let weights = eight(x);
            let got: f64 = (0..8).map(|k| weights[k] * seventh(k as f64 - 3.0)).sum();
            assert!((got - seventh(x)).abs() < 1e-12, "{x}: {got}");
        }
    }
}
