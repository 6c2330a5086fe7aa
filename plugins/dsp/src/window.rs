//! Windows and fades.

use std::f64::consts::PI;

/// Raised cosine from 0 at `x <= 0` to 1 at `x >= 1`: `(1 - cos(pi x)) / 2`. NaN gives NaN.
#[must_use]
pub fn rise(x: f64) -> f64 {
    if x <= 0.0 {
        0.0
    } else if x >= 1.0 {
        1.0
    } else {
        0.5 - 0.5 * (PI * x).cos()
    }
}

/// Flat window with raised-cosine ends: rises over `[from, from + rise_len]`, falls over
/// `[to - fall_len, to]`, all in one unit. 0 outside, 1 between.
#[must_use]
pub fn flat_top(x: f64, from: f64, rise_len: f64, fall_len: f64, to: f64) -> f64 {
    let up = if rise_len > 0.0 {
        rise((x - from) / rise_len)
    } else {
        f64::from(u8::from(x >= from))
    };
    let down = if fall_len > 0.0 {
        rise((to - x) / fall_len)
    } else {
        f64::from(u8::from(x <= to))
    };
    up * down
}

/// Modified Bessel function of the first kind and order 0, by its power series
/// `sum ((x/2)^k / k!)^2` (Abramowitz & Stegun 9.6.10, from memory). Used for `|x| <= 30`.
#[must_use]
pub fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let (mut term, mut sum, mut k) = (1.0, 1.0, 1.0);
    while term > sum * 1e-17 {
        term *= quarter / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}

/// Kaiser window at `x` in -1..=1 (0 outside): `I0(beta sqrt(1 - x^2)) / I0(beta)`.
#[must_use]
pub fn kaiser(x: f64, beta: f64) -> f64 {
    if x.abs() > 1.0 {
        return 0.0;
    }
    bessel_i0(beta * (1.0 - x * x).sqrt()) / bessel_i0(beta)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bessel_i0_of_1_is_1_2660658777520084() {
        // Value: scipy.special.i0(1.0), i0(10.0).
        assert!((bessel_i0(1.0) - 1.266_065_877_752_008_4).abs() < 1e-15);
        assert!((bessel_i0(10.0) / 2_815.716_628_466_254 - 1.0).abs() < 1e-14);
    }

    #[test]
    fn flat_top_is_half_in_the_middle_of_its_ends() {
        assert!((flat_top(0.5, 0.0, 1.0, 2.0, 10.0) - 0.5).abs() < 1e-15);
        assert!((flat_top(9.0, 0.0, 1.0, 2.0, 10.0) - 0.5).abs() < 1e-15);
        assert!((flat_top(5.0, 0.0, 1.0, 2.0, 10.0) - 1.0).abs() < 1e-15);
        assert!(flat_top(-0.1, 0.0, 0.0, 0.0, 10.0).abs() < 1e-15);
    }
}
