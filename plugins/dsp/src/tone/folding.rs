//! Test frequencies whose harmonics do not fold onto one another.

/// Harmonics up to this order are kept apart: those of a clipped sine fall with the square of their
/// order, so that what folds from above is 92 dB below the fundamental.
const ORDER_MAX: u32 = 200;

/// Harmonics that figures are made of.
const ORDER_MEASURED: u32 = 10;

/// How far what folds has to keep from them, in Hz.
const DISTANCE_HZ: f64 = 25.0;

/// The frequency nearest below `freq_hz` at which no harmonic of a digital link at `rate_hz` folds
/// onto the second to tenth.
///
/// At 1000 Hz and 48 kHz the 47th harmonic of a clipped sine folds onto the fundamental and the
/// 49th too, and all further odd ones onto the third and so on: the third reads up to 0.09 dB, the
/// fifth up to 0.25 dB wrong. At 997 Hz (AES17) or 999 Hz they fall between. Frequencies that are clear already stay as they
/// are; others go down by 0.1 % to 1 %, to a whole number of Hz above 200 Hz.
#[must_use]
pub fn clear_frequency_hz(freq_hz: f64, rate_hz: f64) -> f64 {
    let clear = |&candidate: &f64| folding_distance_hz(candidate, rate_hz) >= DISTANCE_HZ;
    let lowered = |permille: u32| {
        let lower = freq_hz * (1.0 - f64::from(permille) / 1000.0);
        if lower > 200.0 { lower.round() } else { lower }
    };
    std::iter::once(freq_hz)
        .chain((1..=10).map(lowered))
        .find(clear)
        .unwrap_or(freq_hz)
}

/// Least distance in Hz between a harmonic that folded and one that is measured.
fn folding_distance_hz(freq_hz: f64, rate_hz: f64) -> f64 {
    let mut least = f64::INFINITY;
    for order in 2..=ORDER_MAX {
        let harmonic_hz = f64::from(order) * freq_hz;
        if harmonic_hz < rate_hz / 2.0 {
            continue;
        }
        let folded_hz = (harmonic_hz - rate_hz * (harmonic_hz / rate_hz).round()).abs();
        let nearest = (folded_hz / freq_hz)
            .round()
            .clamp(1.0, f64::from(ORDER_MEASURED));
        least = least.min((folded_hz - nearest * freq_hz).abs());
    }
    least
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frequency_of_997_hz_stays_and_1000_hz_goes_to_999_hz_at_48_khz() {
        assert_eq!(clear_frequency_hz(997.0, 48_000.0), 997.0);
        assert_eq!(clear_frequency_hz(1000.0, 48_000.0), 999.0);
        assert_eq!(clear_frequency_hz(63.0, 48_000.0), 63.0);
        assert_eq!(clear_frequency_hz(6300.0, 44_100.0), 6294.0);
    }

    #[test]
    fn clear_frequencies_move_by_1_percent_at_most_and_keep_25_hz_apart() {
        for rate_hz in [44_100.0, 48_000.0, 88_200.0, 96_000.0, 192_000.0] {
            for third in 0..28 {
                let freq_hz = 31.25 * 2f64.powf(f64::from(third) / 3.0);
                for freq_hz in [freq_hz, freq_hz.round()] {
                    let clear_hz = clear_frequency_hz(freq_hz, rate_hz);
                    assert!((freq_hz * 0.989..=freq_hz).contains(&clear_hz));
                    let distance_hz = folding_distance_hz(clear_hz, rate_hz);
                    assert!(
                        distance_hz >= DISTANCE_HZ,
                        "{freq_hz} at {rate_hz}: {distance_hz}"
                    );
                }
            }
        }
    }
}
