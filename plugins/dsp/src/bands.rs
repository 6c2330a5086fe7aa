//! One-third-octave bands.

/// One band.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Midband frequency in Hz, exact.
    pub middle_hz: f64,
    /// Lower and upper edge in Hz.
    pub edges_hz: [f64; 2],
}

/// One-third-octave bands whose midbands lie from `from_hz` to `to_hz` (a hundredth of a band of
/// slack) and which end below `below_hz`.
///
/// IEC 61260-1:2014, base ten: midbands `1000 · 10^(x/10) Hz`, edges `10^(∓1/20)` of them.
#[must_use]
pub fn third_octaves(from_hz: f64, to_hz: f64, below_hz: f64) -> Vec<Band> {
    let index = |frequency_hz: f64| 10.0 * (frequency_hz / 1_000.0).log10();
    let (first, last) = (
        (index(from_hz) - 0.03).ceil() as i32,
        (index(to_hz) + 0.03).floor() as i32,
    );
    let half = 10f64.powf(0.05);
    (first..=last)
        .map(|x| 1_000.0 * 10f64.powf(f64::from(x) / 10.0))
        .map(|middle_hz| Band {
            middle_hz,
            edges_hz: [middle_hz / half, middle_hz * half],
        })
        .filter(|band| band.edges_hz[1] < below_hz)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_from_20_hz_to_20_khz_are_31_with_the_edges_of_the_standard() {
        let bands = third_octaves(20.0, 20_000.0, 24_000.0);
        assert_eq!(bands.len(), 31);
        // IEC 61260-1:2014: midband 19.9526 Hz from 17.7828 to 22.3872 Hz, and so on.
        for (index, want) in [
            (0, [19.952_6, 17.782_8, 22.387_2]),
            (17, [1e3, 891.250_9, 1_122.018_5]),
            (30, [19_952.623_1, 17_782.794_1, 22_387.211_4]),
        ] {
            let Band {
                middle_hz,
                edges_hz,
            } = bands[index];
            for (got, want) in [middle_hz, edges_hz[0], edges_hz[1]].into_iter().zip(want) {
                assert!((got / want - 1.0).abs() < 3e-6, "got {got}, want {want} Hz");
            }
        }
        // At 44.1 kHz the highest ends above half the rate.
        assert_eq!(third_octaves(20.0, 20_000.0, 22_050.0).len(), 30);
    }
}
