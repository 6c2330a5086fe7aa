//! How far two answers to one sweep differ in a band.

use rustfft::num_complex::Complex64;

use super::deconvolve::{Channel, SweepResponse};

/// Two responses in a band.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Compared {
    /// Lower edge in Hz.
    pub from_hz: f64,
    /// Upper edge in Hz.
    pub to_hz: f64,
    /// Magnitude of the one over the other, linear.
    pub ratio: f64,
    /// One standard deviation of `ratio`.
    pub sigma: f64,
}

/// Magnitude of `one` over `other` from `from_hz` to `to_hz`, link over reference.
///
/// Both hold noise alike, so the factor is that of orthogonal least squares over the bins of the
/// band; what is left, noise and a difference that is not the same at every bin, is its
/// uncertainty.
#[must_use]
pub fn compare(one: &SweepResponse, other: &SweepResponse, [from_hz, to_hz]: [f64; 2]) -> Compared {
    let bins = one.bins(from_hz, to_hz);
    let of =
        |a: &Channel, b: &Channel| factor(&a.spectrum[bins.clone()], &b.spectrum[bins.clone()]);
    let [mut ratio, mut sigma] = of(&one.link, &other.link);
    if let (Some(one), Some(other)) = (&one.reference, &other.reference) {
        let [by, by_sigma] = of(one, other);
        sigma = (sigma / by).hypot(by_sigma * ratio / (by * by));
        ratio /= by;
    }
    Compared {
        from_hz,
        to_hz,
        ratio,
        sigma,
    }
}

/// Magnitude of the factor that takes `b` to `a`, and its standard deviation.
///
/// The larger eigenvalue of the matrix of `sum |A|^2`, `sum A conj(B)` and `sum |B|^2` belongs to
/// the straight line through both, the smaller one is the noise beside it (orthogonal regression,
/// found in any textbook).
fn factor(a: &[Complex64], b: &[Complex64]) -> [f64; 2] {
    let power = |bins: &[Complex64]| bins.iter().map(Complex64::norm_sqr).sum::<f64>();
    let product: Complex64 = a.iter().zip(b).map(|(a, b)| a * b.conj()).sum();
    let [of_a, of_b, of_both] = [power(a), power(b), product.norm()];
    let apart = (0.5 * (of_a - of_b)).hypot(of_both);
    let [larger, smaller] = [1.0, -1.0].map(|sign| 0.5 * (of_a + of_b) + sign * apart);
    let factor = of_both / (larger - of_a).max(f64::MIN_POSITIVE);
    // Of complex noise half lies along the line.
    let noise = smaller.max(0.0) / (2.0 * a.len().saturating_sub(1).max(1) as f64);
    let signal = (of_b - smaller).max(f64::MIN_POSITIVE);
    [factor, (noise * (1.0 + factor * factor) / signal).sqrt()]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::noise::gaussian;

    #[test]
    fn a_factor_of_0_8_in_noise_is_told_with_what_the_noise_leaves() {
        let (mut held, seeds) = (0, 400);
        for seed in 0..seeds {
            let noisy = |size: f64, from: u64| -> Vec<Complex64> {
                (0..40)
                    .map(|n| from + 2 * n)
                    .map(|n| Complex64::new(gaussian(seed, n), gaussian(seed, n + 1)))
                    .map(|noise| size + 0.1 * noise)
                    .collect()
            };
            let [ratio, sigma] = factor(&noisy(0.8, 0), &noisy(1.0, 1_000));
            held += u32::from((ratio - 0.8).abs() < sigma);
        }
        // 68.3 % of 400, give or take four times sqrt(400 0.68 0.32).
        assert!((236..=310).contains(&held), "{held} of 400 held");
    }
}
