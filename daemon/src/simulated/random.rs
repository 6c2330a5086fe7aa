//! Chance that can be repeated: every number follows from a seed, a purpose, a name and an index.
//!
//! Numbers are had by index and not in sequence, so it does not matter in which order or in which
//! blocks they are asked for.

/// Odd, and its bits look random: 2^64 divided by the golden ratio.
const STEP: u64 = 0x9E37_79B9_7F4A_7C15;

/// One stream of numbers.
#[derive(Debug, Clone, Copy)]
pub struct Chance {
    base: u64,
}

impl Chance {
    /// The stream of `purpose` for the link (or port) `name` in the rig with this `seed`.
    pub fn new(seed: u64, purpose: &str, name: &str) -> Self {
        let text = purpose.bytes().chain([0]).chain(name.bytes());
        // FNV-1a (draft-eastlake-fnv), 64 bits: enough to keep the names apart.
        let hash = text.fold(0xCBF2_9CE4_8422_2325_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01B3)
        });
        Self {
            base: mix(hash ^ mix(seed)),
        }
    }

    /// 64 bits.
    #[inline]
    pub fn bits(self, index: u64) -> u64 {
        mix(self.base.wrapping_add(index.wrapping_mul(STEP)))
    }

    /// Evenly between 0 (exclusive) and 1 (inclusive).
    pub fn uniform(self, index: u64) -> f64 {
        // 53 bits fill the significand of an f64.
        ((self.bits(index) >> 11) + 1) as f64 / (1_u64 << 53) as f64
    }

    /// Exponentially distributed about `mean`; 0 where the mean is 0.
    pub fn exponential(self, index: u64, mean: f64) -> f64 {
        -mean * self.uniform(index).ln()
    }
}

/// Finaliser of splitmix64 (Steele, Lea, Flood: Fast splittable pseudorandom number generators,
/// OOPSLA 2014; constants from memory, their variant 13 by Stafford).
#[inline]
fn mix(bits: u64) -> u64 {
    let bits = (bits ^ (bits >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    let bits = (bits ^ (bits >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    bits ^ (bits >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn streams_of_other_seeds_purposes_and_names_share_none_of_1000_numbers() {
        let streams = [
            Chance::new(1, "noise", "a"),
            Chance::new(2, "noise", "a"),
            Chance::new(1, "dropouts", "a"),
            Chance::new(1, "noise", "b"),
        ];
        let mut seen: Vec<u64> = streams
            .iter()
            .flat_map(|s| (0..1000).map(|i| s.bits(i)))
            .collect();
        seen.sort_unstable();
        seen.dedup();
        assert_eq!(seen.len(), 4000);
    }

    #[test]
    fn exponential_numbers_have_the_asked_mean_within_4_standard_errors() {
        let chance = Chance::new(7, "test", "");
        let count = 100_000;
        let mean = (0..count).map(|i| chance.exponential(i, 3.0)).sum::<f64>() / count as f64;
        // The standard deviation of an exponential distribution is its mean.
        let tolerance = 4.0 * 3.0 / (count as f64).sqrt();
        assert!(
            (mean - 3.0).abs() < tolerance,
            "got {mean}, want 3 within {tolerance}"
        );
    }
}
