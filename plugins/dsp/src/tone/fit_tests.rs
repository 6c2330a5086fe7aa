//! Checks of the fit against closed forms and bounds.

use std::f64::consts::TAU;

use super::{RelativeHarmonics, ToneFit, ToneFitter};

const RATE_HZ: f64 = 48_000.0;

/// Samples of `waveform(phase in radian)` at `freq_hz`.
fn tone(freq_hz: f64, count: usize, mut waveform: impl FnMut(f64) -> f64) -> Vec<f32> {
    (0..count)
        .map(|n| waveform(TAU * (freq_hz * n as f64 / RATE_HZ).fract()) as f32)
        .collect()
}

fn fit(samples: &[f32], freq_hz: f64) -> ToneFit {
    ToneFitter::new()
        .fit(samples, freq_hz / RATE_HZ)
        .expect("long enough")
}

fn thd_db(samples: &[f32], freq_hz: f64, order_max: usize) -> f64 {
    let harmonics = RelativeHarmonics::of(&fit(samples, freq_hz), 1.0);
    20.0 * harmonics.thd_ratio(order_max).value.log10()
}

/// Uniform noise of variance 1 by a small generator (SplitMix64; Steele, Lea, Flood, OOPSLA 2014).
fn noise(seed: u64) -> impl FnMut() -> f64 {
    let mut state = seed;
    move || {
        state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut bits = state;
        bits = (bits ^ (bits >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        bits = (bits ^ (bits >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        bits ^= bits >> 31;
        ((bits >> 11) as f64 / (1u64 << 52) as f64 - 1.0) * 3f64.sqrt()
    }
}

#[test]
fn amplitude_of_a_clean_tone_is_within_0_00001_db_from_20_hz_to_20_khz() {
    for freq_hz in [20.0, 63.0, 997.0, 4000.3, 19_999.0] {
        for count in [9_600, 20_161, 42_240] {
            let samples = tone(freq_hz, count, |p| 0.1 * (p + 0.7).sin() + 0.003);
            let found = fit(&samples, freq_hz);
            // f32 rounds by 2^-25 of the value: 1e-7 re 0.1, averaged over thousands of samples.
            let error_db = 20.0 * (found.amplitude() / 0.1).log10();
            assert!(
                error_db.abs() < 1e-5,
                "{freq_hz} Hz, {count}: {error_db} dB"
            );
            // Below ten periods a constant leaks into the halves that the frequency is refined by:
            // the plugins give every tone ten.
            let ten_periods = freq_hz * count as f64 >= 10.0 * RATE_HZ;
            assert!(
                !ten_periods || (found.dc - 0.003).abs() < 1e-7,
                "{freq_hz} Hz: {}",
                found.dc
            );
        }
    }
}

#[test]
fn polynomial_reads_its_closed_form_within_0_0005_db() {
    // y = x + a2 x² + a3 x³: H1 = A + 3/4 a3 A³, H2 = a2 A²/2, H3 = a3 A³/4 (power reduction).
    for (a, a2, a3, thd_db_want) in [
        (1.0, 0.01, 0.0, -46.0206),
        (1.0, 0.0, 0.01, -52.1061),
        (1.0, 0.01, 0.01, -45.1164),
        (0.5, 0.01, 0.01, -51.7942),
        (0.1, 0.01, 0.01, -66.0104),
        (1.0, 0.02, -0.05, -35.5814),
    ] {
        let samples = tone(997.0, 42_240, |p| {
            let x = a * p.sin();
            x + a2 * x * x + a3 * x * x * x
        });
        let got = thd_db(&samples, 997.0, 10);
        assert!(
            (got - thd_db_want).abs() < 5e-4,
            "{a} {a2} {a3}: {got} dB, want {thd_db_want} dB"
        );
    }
}

/// Amplitude of harmonic `n` of a sine of peak 1 clipped at `r` (Fourier integral).
fn clipped(r: f64, n: f64) -> f64 {
    let alpha = r.asin();
    if n == 1.0 {
        return 2.0 / std::f64::consts::PI * (alpha + r * (1.0 - r * r).sqrt());
    }
    let difference = ((n - 1.0) * alpha).sin() / (n - 1.0) - ((n + 1.0) * alpha).sin() / (n + 1.0);
    4.0 / std::f64::consts::PI * (0.5 * difference + r * (n * alpha).cos() / n)
}

#[test]
fn hard_clip_reads_its_closed_form_within_0_02_db_from_0_1_to_43_percent() {
    for freq_hz in [63.0, 249.0, 997.0, 1998.0] {
        for r in [0.99, 0.97, 0.95, 0.92, 0.9, 0.8, 0.7, 0.5, 0.25, 0.1] {
            let samples = tone(freq_hz, 42_240, |p| p.sin().clamp(-r, r));
            let odd = [3.0, 5.0, 7.0, 9.0];
            let power: f64 = odd.map(|n| clipped(r, n).powi(2)).iter().sum();
            let want = 20.0 * (power.sqrt() / clipped(r, 1.0)).log10();
            let got = thd_db(&samples, freq_hz, 10);
            assert!(
                (got - want).abs() < 0.005,
                "{freq_hz} Hz, {r}: {got}, want {want}"
            );
        }
    }
}

#[test]
fn own_floor_is_below_0_00001_percent_in_f32() {
    for freq_hz in [63.0, 997.0, 1998.0] {
        let samples = tone(freq_hz, 42_240, |p| 0.1 * p.sin());
        let thd = RelativeHarmonics::of(&fit(&samples, freq_hz), 1.0).thd_ratio(10);
        assert!(thd.value * 100.0 < 1e-5, "{freq_hz} Hz: {thd:?}");
        assert!(thd.uncertainty * 100.0 < 1e-5, "{freq_hz} Hz: {thd:?}");
    }
}

#[test]
fn amplitude_in_noise_scatters_within_1_25_of_the_bound_and_as_its_uncertainty_says() {
    // Rife and Boorstyn (1974): var A >= 2 s²/N. The taper costs 54/49 in variance, 1.050 in
    // deviation; over 200 seeds the deviation itself scatters by 5 %, three times that is allowed.
    let (count, runs, deviation) = (8_192, 200, 1e-3);
    let (mut square_sum, mut told_sum) = (0.0, 0.0);
    for seed in 0..runs {
        let mut draw = noise(seed);
        let samples = tone(997.0, count, |p| 0.1 * p.sin() + deviation * draw());
        let found = fit(&samples, 997.0);
        square_sum += (found.amplitude() - 0.1).powi(2);
        told_sum += found.amplitude_uncertainty().powi(2);
    }
    let bound = deviation * (2.0 / count as f64).sqrt();
    let got = (square_sum / runs as f64).sqrt();
    let told = (told_sum / runs as f64).sqrt();
    assert!(got / bound < 1.25, "{} of the bound", got / bound);
    assert!(
        (told / bound / 1.050 - 1.0).abs() < 0.03,
        "told {}",
        told / bound
    );
}

#[test]
fn thd_in_noise_is_unbiased_and_its_uncertainty_covers_it() {
    // H3 of -60 dB, noise of -60 dB re the tone over the whole band: the noise in the harmonics
    // reads about -90 dB and would lift 0.1 % by 0.04 % of itself were it not taken off.
    let (mut sum, mut square_sum, mut told) = (0.0, 0.0, 0.0);
    let runs = 100;
    for seed in 0..runs {
        let mut draw = noise(seed);
        let samples = tone(997.0, 42_240, |p| {
            0.1 * p.sin() + 1e-4 * (3.0 * p).sin() + 7.07e-5 * draw()
        });
        let thd = RelativeHarmonics::of(&fit(&samples, 997.0), 1.0).thd_ratio(10);
        sum += thd.value - 1e-3;
        square_sum += (thd.value - 1e-3).powi(2);
        told += thd.uncertainty / f64::from(runs as u32);
    }
    let (mean, deviation) = (sum / runs as f64, (square_sum / runs as f64).sqrt());
    assert!(
        mean.abs() < 3.0 * deviation / 10.0,
        "bias {mean}, deviation {deviation}"
    );
    assert!(
        (deviation / told - 1.0).abs() < 0.25,
        "{deviation}, told {told}"
    );
}

#[test]
fn frequency_off_by_20_ppm_costs_no_amplitude() {
    let samples = tone(6300.0 * (1.0 + 20e-6), 42_240, |p| 0.1 * p.sin());
    let found = fit(&samples, 6300.0);
    assert!((20.0 * (found.amplitude() / 0.1).log10()).abs() < 1e-5);
    assert!((found.cycles_per_sample * RATE_HZ / 6300.0 - 1.0 - 20e-6).abs() < 1e-9);
}

#[test]
fn silence_gives_no_tone_and_what_is_not_finite_no_fit() {
    let silent = fit(&[0.0; 9_600], 997.0);
    assert!(!silent.stands());
    let mut broken = tone(997.0, 9_600, f64::sin);
    broken[17] = f32::NAN;
    assert!(ToneFitter::new().fit(&broken, 997.0 / RATE_HZ).is_none());
    assert!(
        ToneFitter::new()
            .fit(&broken[..60], 997.0 / RATE_HZ)
            .is_none()
    );
}

#[test]
fn hum_of_minus_60_dbfs_beside_a_tone_stays_out_of_its_harmonics() {
    for freq_hz in [63.0, 125.0, 997.0] {
        let samples: Vec<f32> = tone(freq_hz, 42_240, |p| 0.1 * p.sin())
            .iter()
            .enumerate()
            .map(|(n, x)| x + (1e-3 * (TAU * 50.0 * n as f64 / RATE_HZ).sin()) as f32)
            .collect();
        let thd = RelativeHarmonics::of(&fit(&samples, freq_hz), 1.0).thd_ratio(10);
        assert!(thd.value < 1e-5, "{freq_hz} Hz: {thd:?}");
    }
}

#[test]
fn six_db_louder_moves_the_amplitude_by_6_02_db_and_no_ratio() {
    let shape = |p: f64| p.sin() + 0.01 * (2.0 * p).cos() + 0.003 * (3.0 * p).sin();
    let soft = fit(&tone(500.3, 20_000, |p| 0.1 * shape(p)), 500.3);
    let loud = fit(&tone(500.3, 20_000, |p| 0.2 * shape(p)), 500.3);
    assert!((loud.amplitude() / soft.amplitude() - 2.0).abs() < 1e-7);
    let (soft, loud) = [soft, loud]
        .map(|fit| RelativeHarmonics::of(&fit, 1.0))
        .into();
    assert!((soft.thd_ratio(10).value - loud.thd_ratio(10).value).abs() < 1e-8);
    assert!(soft.minus(&loud).thd_ratio(10).value < 1e-7);
}

#[test]
fn band_power_of_white_noise_and_a_tone_is_within_its_scatter() {
    let mut draw = noise(5);
    let count = 42_240;
    let samples: Vec<f32> = tone(997.0, count, |p| 0.1 * p.sin() + 1e-4 * draw())
        .iter()
        .enumerate()
        .map(|(n, x)| x + (1e-3 * (TAU * 1366.7 * n as f64 / RATE_HZ).sin()) as f32)
        .collect();
    let found = fit(&samples, 997.0);
    let band = |from: f64, to: f64| found.residual.band_power(from / RATE_HZ, to / RATE_HZ);
    // A sine of peak A has the mean square A²/2.
    let tone_db = 10.0 * (band(1_300.0, 1_450.0).power / 5e-7).log10();
    assert!(tone_db.abs() < 0.01, "{tone_db} dB");
    // White noise: 18 kHz of 24 kHz hold three quarters; deviation 4.343/sqrt(B T) dB, B T = 15840.
    let noise_db = 10.0 * (band(2_000.0, 20_000.0).power / 0.75e-8).log10();
    assert!(noise_db.abs() < 0.1, "{noise_db} dB");
    // Bendat and Piersol: 1/sqrt(B T), and sqrt(35/18) more under one Hann window.
    let told = band(2_000.0, 20_000.0);
    let want = (35.0 / 18.0 / 15_840.0f64).sqrt();
    assert!((told.uncertainty / told.power / want - 1.0).abs() < 0.05);
}
