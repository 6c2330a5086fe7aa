//! Spectra of steady noise and of lines in it, against closed forms.

use goodwire_dsp::decibel::power_db;
use goodwire_dsp::noise::gaussian;
use goodwire_dsp::spectrum::Spectrum;
use goodwire_dsp::weighting;
use std::f64::consts::TAU;

const RATE_HZ: f64 = 48_000.0;
const BAND_HZ: [f64; 2] = [20.0, 20_000.0];

fn noise(count: usize, seed: u64) -> Vec<f64> {
    (0..count as u64).map(|n| gaussian(seed, n)).collect()
}

fn sine(count: usize, frequency_hz: f64, amplitude: f64) -> Vec<f64> {
    let turn = TAU * frequency_hz / RATE_HZ;
    (0..count)
        .map(|n| amplitude * (turn * n as f64 + 0.7).sin())
        .collect()
}

#[test]
fn a_sine_between_bins_reads_half_its_squared_peak_within_1e_4_db_and_its_deviation_is_nil() {
    for frequency_hz in [50.03, 997.0, 14_321.7] {
        let spectrum = Spectrum::new(&sine(100_000, frequency_hz, 0.1), RATE_HZ);
        let power = spectrum.power(BAND_HZ, |_| 1.0);
        assert!(power_db(power.value / 0.005).abs() < 1e-4, "{frequency_hz}");
        assert!(power.relative() < 1e-3, "{}", power.relative());
    }
}

#[test]
fn white_noise_weighted_by_a_and_ccir_reads_2_048_db_less_and_1_671_db_more() {
    // Numerical integrals of the analytic curves over 20 Hz to 20 kHz (SciPy).
    let spectrum = Spectrum::new(&noise(1_000_000, 3), RATE_HZ);
    let plain = spectrum.power(BAND_HZ, |_| 1.0);
    let want = (BAND_HZ[1] - BAND_HZ[0]) / (RATE_HZ / 2.0);
    assert!(power_db(plain.value / want).abs() < 0.02);
    let a = spectrum.power(BAND_HZ, |f| weighting::a(f).powi(2));
    let ccir = spectrum.power(BAND_HZ, |f| weighting::ccir(f).powi(2));
    assert!((power_db(a.value / plain.value) + 2.048).abs() < 0.02);
    assert!((power_db(ccir.value / plain.value) - 1.671).abs() < 0.02);
}

#[test]
fn deviation_of_bands_of_white_noise_holds_65_to_72_percent_of_600_and_94_to_97_of_two() {
    let (mut within, mut within_two, mut count) = (0, 0, 0);
    for seed in 0..120 {
        let spectrum = Spectrum::new(&noise(48_000, seed), RATE_HZ);
        for band_hz in [
            [178.0, 224.0],
            [891.0, 1_122.0],
            [4_467.0, 5_623.0],
            BAND_HZ,
            [20.0, 9e3],
        ] {
            let power = spectrum.power(band_hz, |_| 1.0);
            let want = (band_hz[1] - band_hz[0]) / (RATE_HZ / 2.0);
            let off = (power.value - want).abs() / power.variance.sqrt();
            within += usize::from(off < 1.0);
            within_two += usize::from(off < 2.0);
            count += 1;
        }
    }
    // Three binomial deviations of 600 beyond the goal's edges: 5.8 and 2.7 points.
    let share = |of: usize| 100.0 * of as f64 / f64::from(count);
    println!("{:.1} % and {:.1} %", share(within), share(within_two));
    assert!((59.2..77.8).contains(&share(within)));
    assert!((91.3..99.7).contains(&share(within_two)));
}

#[test]
fn noise_alone_shows_a_line_in_fewer_than_3_of_100_pieces_at_a_chance_of_1_in_1000() {
    let mut false_alarms = 0;
    for seed in 0..100 {
        let spectrum = Spectrum::new(&noise(96_000, 1_000 + seed), RATE_HZ);
        false_alarms += spectrum.lines(BAND_HZ, 1e-3).len();
    }
    // At 0.1 expected, three have a chance of 0.02 %.
    assert!(false_alarms <= 2, "{false_alarms}");
}

#[test]
fn lines_100_db_above_the_noise_and_20_db_are_found_alone_within_0_02_db_and_0_01_hz() {
    let count = 240_000;
    // White noise of RMS 1e-6 gives a sine's bin 2.63 · 2 · 1e-12 / count: -137 dB re the first.
    let mut samples: Vec<f64> = noise(count, 5).iter().map(|x| 1e-6 * x).collect();
    let lines = [(50.0, 1e-2), (100.02, 1e-4), (150.0, 1e-5), (1_234.5, 1e-4)];
    for (frequency_hz, amplitude) in lines {
        for (sample, line) in samples.iter_mut().zip(sine(count, frequency_hz, amplitude)) {
            *sample += line;
        }
    }
    let found = Spectrum::new(&samples, RATE_HZ).lines(BAND_HZ, 1e-3);
    assert_eq!(found.len(), lines.len(), "{found:?}");
    for (line, (frequency_hz, amplitude)) in found.iter().zip(lines) {
        let off_db = power_db(line.power.value / (amplitude * amplitude / 2.0));
        println!(
            "{} Hz: {off_db} dB off, ± {}",
            line.frequency_hz,
            line.power.relative()
        );
        assert!((line.frequency_hz - frequency_hz).abs() < 0.01);
        assert!(off_db.abs() < 0.02 + 4.34 * 4.0 * line.power.relative());
    }
}

#[test]
fn silence_has_neither_power_nor_lines_and_an_offset_is_no_noise() {
    for offset in [0.0, 0.25] {
        let spectrum = Spectrum::new(&vec![offset; 10_000], RATE_HZ);
        assert!(spectrum.power(BAND_HZ, |_| 1.0).value < 1e-30);
        assert!(spectrum.lines(BAND_HZ, 1e-3).is_empty());
    }
}
