//! Noise that is a pure function of seed and frame, so that any block can be rendered by itself.

/// White noise, evenly distributed in -1..1, of `seed` at `frame`.
///
/// The bits are those of the SplitMix64 generator (Steele, Lea, Flood, OOPSLA 2014) at position
/// `frame` of the stream that `seed` selects. Its power is 1/3; neighbours are uncorrelated.
#[must_use]
pub fn white(seed: u64, frame: u64) -> f64 {
    let stream = mix(seed.wrapping_add(0x9E37_79B9_7F4A_7C15));
    let bits = mix(stream.wrapping_add(frame.wrapping_mul(0x9E37_79B9_7F4A_7C15)));
    // 53 bits fill the mantissa: 0..1 in steps of 2^-53, then -1..1.
    (bits >> 11) as f64 / (1u64 << 52) as f64 - 1.0
}

/// Standard normal noise of `seed` at `frame` (Box and Muller, 1958).
#[must_use]
pub fn gaussian(seed: u64, frame: u64) -> f64 {
    let radius = 0.5 * (1.0 - white(seed, frame)); // in 0..=1, never 0
    let angle = std::f64::consts::PI * white(seed ^ 0x5DEE_CE66_D1CE_4E5B, frame);
    (-2.0 * radius.ln()).sqrt() * angle.cos()
}

/// Finalizer of SplitMix64.
fn mix(mut bits: u64) -> u64 {
    bits = (bits ^ (bits >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    bits = (bits ^ (bits >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    bits ^ (bits >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn power_is_a_third_and_of_gaussian_noise_1_within_1_percent() {
        let count = 200_000u64;
        let power = |noise: fn(u64, u64) -> f64| {
            (0..count).map(|n| noise(7, n).powi(2)).sum::<f64>() / count as f64
        };
        assert!((power(white) * 3.0 - 1.0).abs() < 0.01);
        assert!((power(gaussian) - 1.0).abs() < 0.01);
    }

    #[test]
    fn seeds_and_neighbours_are_uncorrelated_within_5_sigma() {
        let count = 100_000u64;
        let bound = 5.0 / (count as f64).sqrt();
        let cross = |f: &dyn Fn(u64) -> f64| (0..count).map(f).sum::<f64>() / count as f64 * 3.0;
        assert!(cross(&|n| white(1, n) * white(2, n)).abs() < bound);
        assert!(cross(&|n| white(1, n) * white(1, n + 1)).abs() < bound);
    }
}
