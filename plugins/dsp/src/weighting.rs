//! Frequency weightings for noise: exact curves, to be applied to spectra.
//!
//! A digital filter made by the plain bilinear transform is 1.2 dB off the A curve at 10 kHz and
//! 48 kHz, and still within class 1. Multiplying a spectrum has no such error at any rate.

use rustfft::num_complex::Complex64;

/// Squared poles of the A curve in Hz²: IEC 61672-1:2013, 5.5 and Annex E (clauses from memory).
///
/// Annex E derives them from `fr = 1 kHz, fL = 10^1.5 Hz, fH = 10^3.9 Hz, D² = 1/2`, and the two
/// middle ones from `fA = 10^2.45 Hz`, `(3 -/+ sqrt 5) / 2` of it; see the test below.
const A_POLES_HZ: [f64; 4] = [20.598_997, 107.652_649, 737.862_231, 12_194.217_148];

/// Factor that makes the A curve 1 at 1 kHz: 1.999 656 dB.
const A_FACTOR: f64 = 1.258_875_486_622;

/// Factor that makes [`itu_r_468`] 1 at 1 kHz: 18.238 68 dB.
const ITU_FACTOR: f64 = 8.164_578_311_169;

/// A weighting as an amplitude, 1 at 1 kHz:
/// `f4² f⁴ / ((f² + f1²) sqrt(f² + f2²) sqrt(f² + f3²) (f² + f4²))`, IEC 61672-1.
///
/// Valid for all frequencies in Hz; 0 gives 0, NaN gives NaN.
#[must_use]
pub fn a(frequency_hz: f64) -> f64 {
    let square = frequency_hz * frequency_hz;
    let [f1, f2, f3, f4] = A_POLES_HZ.map(|pole| pole * pole);
    let below = (square + f1) * ((square + f2) * (square + f3)).sqrt() * (square + f4);
    A_FACTOR * f4 * square * square / below
}

/// Weighting of ITU-R BS.468-4, 1 at 1 kHz: the passive network of the Recommendation as a
/// rational function of `s = j f`, `K s / (1 + d1 s + d2 s² + … + d6 s⁶)`.
///
/// The factors are those in general use; the curve lies within 0.05 dB of the Recommendation's
/// Table 1, see the test below. Being complex, it keeps the shape of bursts as the network does.
/// Valid for all frequencies in Hz.
#[must_use]
pub fn itu_r_468(frequency_hz: f64) -> Complex64 {
    let f = frequency_hz;
    let square = f * f;
    let even = ((-4.737_338_981_378_384e-24 * square + 2.043_828_333_606_125e-15) * square
        - 1.363_894_795_463_638e-7)
        * square
        + 1.0;
    let odd = ((1.306_612_257_412_824e-19 * square - 2.118_150_887_518_656e-11) * square
        + 5.559_488_023_498_642e-4)
        * f;
    let above = Complex64::new(0.0, ITU_FACTOR * 1.246_332_637_532_143e-4 * f);
    above / Complex64::new(even, odd)
}

/// The curve of [`itu_r_468`] as an amplitude that is 1 at 2 kHz: CCIR-RMS, as AES17 uses it.
#[must_use]
pub fn ccir(frequency_hz: f64) -> f64 {
    /// Amplitude of the curve at 2 kHz re 1 kHz: 5.629 dB.
    const AT_2_KHZ: f64 = 1.911_880_075_192;
    itu_r_468(frequency_hz).norm_sqr().sqrt() / AT_2_KHZ
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decibel::db;

    #[test]
    fn all_curves_are_0_db_at_their_reference_within_1e_6_db() {
        for (name, value) in [
            ("A", a(1_000.0)),
            ("468", itu_r_468(1_000.0).norm()),
            ("CCIR", ccir(2_000.0)),
        ] {
            assert!(db(value).abs() < 1e-6, "{name}: {} dB", db(value));
        }
        assert_eq!(a(0.0), 0.0);
    }

    #[test]
    fn a_poles_are_those_of_annex_e_within_1e_6_hz() {
        // IEC 61672-1:2013 Annex E: x² + b x + c = 0 for f1² and f4².
        let (low, high) = (10f64.powf(1.5), 10f64.powf(3.9));
        let d = 0.5f64.sqrt();
        let product = (low * high).powi(2);
        let b = (1e6 + product / 1e6 - d * (low * low + high * high)) / (1.0 - d);
        let root = (b * b - 4.0 * product).sqrt();
        let five = 5f64.sqrt();
        let middle = 10f64.powf(2.45);
        let want = [
            ((-b - root) / 2.0).sqrt(),
            (3.0 - five) / 2.0 * middle,
            (3.0 + five) / 2.0 * middle,
            ((-b + root) / 2.0).sqrt(),
        ];
        for (got, want) in A_POLES_HZ.into_iter().zip(want) {
            assert!((got - want).abs() < 1e-6, "got {got}, want {want} Hz");
        }
    }

    #[test]
    fn a_rounds_to_the_table_of_iec_61672_1_at_its_34_exact_frequencies() {
        // IEC 61672-1:2013 Table 3, 10 Hz to 20 kHz, exact frequency 10^(n/10) Hz.
        let table = [
            -70.4, -63.4, -56.7, -50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1,
            -13.4, -10.9, -8.6, -6.6, -4.8, -3.2, -1.9, -0.8, 0.0, 0.6, 1.0, 1.2, 1.3, 1.2, 1.0,
            0.5, -0.1, -1.1, -2.5, -4.3, -6.6, -9.3,
        ];
        for (n, want_db) in (10..).zip(table) {
            let got_db = db(a(10f64.powf(f64::from(n) / 10.0)));
            assert!((got_db - want_db).abs() < 0.0501, "{n}: {got_db} dB");
        }
    }

    #[test]
    fn itu_r_468_is_within_0_051_db_of_table_1_of_the_recommendation() {
        // ITU-R BS.468-4, Table 1: frequency in Hz, response in dB.
        let table = [
            (31.5, -29.9),
            (63.0, -23.9),
            (100.0, -19.8),
            (200.0, -13.8),
            (400.0, -7.8),
            (800.0, -1.9),
            (1_000.0, 0.0),
            (2_000.0, 5.6),
            (3_150.0, 9.0),
            (4_000.0, 10.5),
            (5_000.0, 11.7),
            (6_300.0, 12.2),
            (7_100.0, 12.0),
            (8_000.0, 11.4),
            (9_000.0, 10.1),
            (10_000.0, 8.1),
            (12_500.0, 0.0),
            (14_000.0, -5.3),
            (16_000.0, -11.7),
            (20_000.0, -22.2),
            (31_500.0, -42.7),
        ];
        for (frequency_hz, want_db) in table {
            let got_db = db(itu_r_468(frequency_hz).norm());
            assert!(
                (got_db - want_db).abs() < 0.051,
                "{frequency_hz} Hz: {got_db} dB"
            );
        }
    }
}
