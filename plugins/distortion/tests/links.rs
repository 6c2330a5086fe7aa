//! The analysis `distortion` on links of closed form.

mod common;

use common::{
    RATE_HZ, analyse, figure_at, found_at, has_note, recorded_by, request, stimulus, through,
};
use goodwire_plugin_sdk::payload::SessionResult;
use goodwire_plugin_sdk::payload::open_request::Mode;
use proptest::prelude::*;

const FREQS_HZ: [f64; 8] = [63.0, 125.0, 250.0, 500.0, 997.0, 2000.0, 4000.0, 6300.0];

#[track_caller]
fn near(result: &SessionResult, (id, freq_hz): (&str, f64), want: f64, within: f64) {
    let Some((value, uncertainty)) = figure_at(result, id, freq_hz) else {
        panic!("no {id} at {freq_hz} Hz");
    };
    println!("{id} at {freq_hz} Hz: off by {:e}", value - want);
    assert!(
        (value - want).abs() < within,
        "{id} at {freq_hz} Hz: {value} ± {uncertainty}, want {want} ± {within}"
    );
}

#[test]
fn polynomial_reads_its_closed_form_within_0_002_db_at_all_frequencies() {
    // y = x + a2 x² + a3 x³ at A = 0.1, a2 = a3 = 0.01: H2 -66.0213 dB, H3 -92.0419 dB, THD
    // 0.05005871 % (power reduction). f32 samples round by 2^-25 of the value: -150 dB.
    let request = request(Mode::Recorded, &[], &[]);
    let sent = stimulus(&request);
    let returned = through(&sent, 200, 0.0, 1, |x| x + 0.01 * x * x + 0.01 * x * x * x);
    let result = analyse(&request, &sent, &returned, Some(&sent)).unwrap();
    for freq_hz in FREQS_HZ {
        near(&result, ("thd", freq_hz), 0.050_058_71, 1e-5);
        near(&result, ("h2", freq_hz), -66.0213, 0.002);
        near(&result, ("h3", freq_hz), -92.0419, 0.002);
        near(&result, ("thd_n", freq_hz), 0.050_058_71, 1e-5);
    }
    assert!(has_note(&result, "frequency-shifted"));
}

#[test]
fn hard_clip_reads_its_closed_form_within_0_005_db_and_thd_n_all_that_is_in_the_band() {
    // bn of a sine cut at r of its peak (Fourier integral), orders 3 to 9 below 20 kHz.
    let harmonic = |r: f64, n: f64| {
        let a = r.asin();
        let sines = ((n - 1.0) * a).sin() / (n - 1.0) - ((n + 1.0) * a).sin() / (n + 1.0);
        4.0 / std::f64::consts::PI * (0.5 * sines + r * (n * a).cos() / n)
    };
    let request = request(Mode::Recorded, &[], &[]);
    let sent = stimulus(&request);
    for r in [0.98, 0.9, 0.5] {
        let returned = through(&sent, 77, 0.0, 1, |x| -0.3 * x.clamp(-0.1 * r, 0.1 * r));
        let result = analyse(&request, &sent, &returned, Some(&sent)).unwrap();
        let first = 2.0 / std::f64::consts::PI * (r.asin() + r * (1.0 - r * r).sqrt());
        for freq_hz in FREQS_HZ {
            let odd = [3.0, 5.0, 7.0, 9.0].into_iter();
            let power = |below_hz: f64| -> f64 {
                let counted = odd.clone().filter(|n| n * freq_hz < below_hz);
                counted.map(|n| harmonic(r, n).powi(2)).sum()
            };
            let want = 100.0 * power(20_000.0).sqrt() / first;
            near(&result, ("thd", freq_hz), want, want * 0.005 / 8.686);
            let want_db = 20.0 * (harmonic(r, 3.0).abs() / first).log10();
            near(&result, ("h3", freq_hz), want_db, 0.005);
        }
        // All orders, folded or not: sum of b_n² over odd n, 0.0001 of which is beyond 20 kHz.
        let orders = (3..=19).step_by(2).map(f64::from);
        let all: f64 = orders.map(|n| harmonic(r, n).powi(2)).sum();
        let want = 100.0 * (all / (all + first * first)).sqrt();
        near(&result, ("thd_n", 997.0), want, 0.02 * want);
    }
}

#[test]
fn same_file_as_sent_returned_and_reference_reads_less_than_0_0001_percent() {
    let request = request(Mode::Recorded, &[], &[]);
    let sent = stimulus(&request);
    let sent = &sent[..sent.len() - 52_800];
    let result = analyse(&request, sent, sent, Some(sent)).unwrap();
    for figure in &result.figures {
        // Where nothing stands clear of the rounding of f32, the upper end counts.
        let value = figure.high.or(figure.value).unwrap();
        match figure.unit.as_str() {
            "%" => assert!(value < 1e-4, "{figure:?}"),
            _ => assert!(value < -120.0, "{figure:?}"),
        }
    }
    for (id, freq_hz) in [
        ("thd", 63.0),
        ("thd_n", 6300.0),
        ("h2", 997.0),
        ("h3", 6300.0),
    ] {
        assert!(figure_at(&result, id, freq_hz).is_some(), "{id}");
        let of_reference = format!("reference_{id}");
        assert!(figure_at(&result, &of_reference, freq_hz).is_some(), "{id}");
    }
    assert!(figure_at(&result, "h4", 6300.0).is_none(), "25.2 kHz");
    assert!(has_note(&result, "h-below-noise"));
}

#[test]
fn own_floor_of_an_honest_link_is_below_0_0001_percent_recorded_by_any_clock() {
    let mut request = request(Mode::Recorded, &[], &[]);
    let sent = stimulus(&request);
    for (rate_hz, ppm) in [
        (48_000, 0.0),
        (48_000, 300.0),
        (44_100, -120.0),
        (96_000, 50.0),
    ] {
        request.returned_rate_hz = rate_hz;
        let recorded = |delay| {
            let sound = through(&sent, delay, 0.0, 1, |x| 0.5 * x);
            recorded_by(&sound, f64::from(rate_hz), ppm, 0.777)
        };
        let result = analyse(&request, &sent, &recorded(211), Some(&recorded(3))).unwrap();
        for freq_hz in FREQS_HZ {
            near(&result, ("thd", freq_hz), 0.0, 1e-4);
            // The recorder's own interpolation is good to 2e-6 up to 20 kHz.
            near(&result, ("thd_n", freq_hz), 0.0, 4e-4);
        }
    }
}

#[test]
fn distortion_of_the_interface_is_taken_off_and_told() {
    // The send gives 0.5 % of the second harmonic at -20 dBFS, the link 0.25 % more of it, in phase.
    let request = request(Mode::Recorded, &[], &[500.0, 997.0]);
    let sent = stimulus(&request);
    let send = |x: f64| x + 0.1 * x * x;
    let reference = through(&sent, 10, 0.0, 2, send);
    let returned = through(&sent, 200, 0.0, 1, |x| 0.5 * (send(x) + 0.05 * x * x));
    let result = analyse(&request, &sent, &returned, Some(&reference)).unwrap();
    for freq_hz in [500.0, 997.0] {
        near(&result, ("thd", freq_hz), 0.25, 1e-4);
        near(&result, ("h2", freq_hz), -52.0412, 0.002);
        near(&result, ("reference_thd", freq_hz), 0.5, 1e-4);
        near(&result, ("reference_h2", freq_hz), -46.0206, 0.002);
        // Did the interface add its 0.5 % to the link's return in the opposite phase, the link's own
        // were 0.25 + 2 * 0.5 = 1.25 %, -38.0618 dB.
        let high = |id| found_at(&result, id, freq_hz).unwrap().high.unwrap();
        assert!((high("thd") - 1.25).abs() < 1e-3, "{}", high("thd"));
        assert!((high("h2") + 38.0618).abs() < 0.01, "{}", high("h2"));
    }
    assert!(has_note(&result, "reference-distorts"));
    let result = analyse(&request, &sent, &returned, None).unwrap();
    near(&result, ("thd", 997.0), 0.75, 1e-4);
    assert!(has_note(&result, "no-reference") && !has_note(&result, "reference-distorts"));
    assert!(figure_at(&result, "reference_thd", 997.0).is_none());
    assert!(found_at(&result, "thd", 997.0).unwrap().high.is_none());
}

#[test]
fn thd_in_noise_scatters_as_its_uncertainty_says_and_within_1_25_of_the_bound() {
    // H3 of -66.02 dB re a tone of 0.1, white noise of 5e-5. Bound of a harmonic's amplitude (Rife
    // and Boorstyn): s sqrt(2 / N), N the 48,000 frames of the tone; its window costs sqrt(54/49).
    let request = request(Mode::Recorded, &[("wake_s", 0.0)], &[997.0]);
    let sent = stimulus(&request);
    let (deviation, runs) = (5e-5, 40);
    let (mut sum, mut square_sum, mut told) = (0.0, 0.0, 0.0);
    for seed in 0..runs {
        let returned = through(&sent, 200, deviation, seed, |x| x + 0.2 * x * x * x);
        let result = analyse(&request, &sent, &returned, Some(&sent)).unwrap();
        let (thd, uncertainty) = figure_at(&result, "thd", 997.0).unwrap();
        let off = thd / 100.0 - 0.25 * 0.2 * 0.01 / (1.0 + 0.75 * 0.2 * 0.01);
        sum += off;
        square_sum += off * off;
        told += uncertainty / 100.0 / runs as f64;
    }
    let scatter = (square_sum / runs as f64).sqrt();
    let bound = deviation * (2.0 / 48_000f64).sqrt() / 0.1;
    println!(
        "scatter {scatter}, bound {bound}, told {told}, bias {}",
        sum / runs as f64
    );
    // 40 runs tell a deviation within 11 %; three times that is allowed.
    assert!(scatter < 1.25 * bound * (54.0 / 49.0f64).sqrt() * 1.33);
    assert!((0.65..1.35).contains(&(scatter / told)));
    assert!((sum / runs as f64).abs() < 3.0 * scatter / (runs as f64).sqrt());
}

#[test]
fn thd_n_of_white_noise_is_its_share_of_the_band() {
    // Noise of 1e-4 over 24 kHz: 19,980 Hz of it against a tone of power 0.005.
    let request = request(Mode::Recorded, &[], &[63.0, 997.0, 6300.0]);
    let sent = stimulus(&request);
    let returned = through(&sent, 200, 1e-4, 5, |x| x);
    let result = analyse(&request, &sent, &returned, Some(&sent)).unwrap();
    let want = 100.0 * (1e-8f64 * 19_980.0 / 24_000.0 / 0.005).sqrt();
    for freq_hz in [63.0, 997.0, 6300.0] {
        let (value, told) = figure_at(&result, "thd_n", freq_hz).unwrap();
        assert!(
            (value - want).abs() < 4.0 * told,
            "{value} ± {told}, want {want}"
        );
        // Half of 1 / sqrt(B T), B = 19,980 Hz, T = 0.92 s, and sqrt(35/18) for the window.
        let expected = want / 2.0 * (35.0 / 18.0 / 19_980.0 / 0.92f64).sqrt();
        assert!(
            (told / expected - 1.0).abs() < 0.2,
            "{told}, expected {expected}"
        );
    }
}

#[test]
fn dropout_of_5_ms_within_a_tone_is_told_of_that_tone_alone() {
    let request = request(Mode::Recorded, &[], &FREQS_HZ);
    let sent = stimulus(&request);
    let mut returned = through(&sent, 0, 1e-6, 1, |x| x + 0.1 * x * x * x);
    let note = |returned: &[f32]| {
        let result = analyse(&request, &sent, returned, Some(&sent)).unwrap();
        let note = result
            .notes
            .iter()
            .find(|note| note.id == "disturbed-tones");
        note.map(|note| note.text.clone())
    };
    assert_eq!(note(&returned), None);
    // Half a second after the start of the third tone.
    let first = ((1.85 + 2.5) * f64::from(RATE_HZ)) as usize;
    returned[first..first + 240].fill(0.0);
    let told = note(&returned).unwrap();
    assert!(told.starts_with("250 Hz: "), "{told}");
}

#[test]
fn tone_that_the_link_swallows_has_no_figures_and_a_note() {
    let request = request(Mode::Recorded, &[], &[500.0, 997.0, 2000.0]);
    let sent = stimulus(&request);
    // The second of three tones of a second, in the middle of the body, is lost.
    let body_first = (1.5 + 0.05 + 0.15 + 0.15) * f64::from(RATE_HZ);
    let lost = body_first as usize + 47_900..body_first as usize + 97_000;
    let mut returned = through(&sent, 0, 1e-5, 1, |x| x);
    let noise = through(&vec![0.0; sent.len()], 0, 1e-5, 9, |x| x);
    returned[lost.clone()].copy_from_slice(&noise[lost]);
    let result = analyse(&request, &sent, &returned, Some(&sent)).unwrap();
    assert!(figure_at(&result, "thd", 500.0).is_some());
    assert!(figure_at(&result, "thd", 997.0).is_none());
    assert!(figure_at(&result, "thd_n", 997.0).is_none());
    assert!(figure_at(&result, "thd", 2000.0).is_some());
    assert!(has_note(&result, "tone-missing"));
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 8,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn gain_delay_and_polarity_move_no_distortion(
        gain_db in -40.0..15.0f64,
        delay in 0usize..40_000,
        inverted: bool,
        freq_hz in 40.0..4_000.0f64,
    ) {
        let request = request(Mode::Recorded, &[("wake_s", 0.0)], &[freq_hz]);
        let sent = stimulus(&request);
        let factor = 10f64.powf(gain_db / 20.0) * if inverted { -1.0 } else { 1.0 };
        let returned = through(&sent, delay, 0.0, 1, |x| factor * (x + 0.1 * x * x + x * x * x));
        let result = analyse(&request, &sent, &returned, Some(&sent)).unwrap();
        let first: f64 = 0.1 + 0.75e-3;
        let [second, third] = [0.5e-3 / first, 0.25e-3 / first];
        near(&result, ("thd", freq_hz), 100.0 * second.hypot(third), 1e-4);
        near(&result, ("h2", freq_hz), 20.0 * second.log10(), 0.003);
        near(&result, ("h3", freq_hz), 20.0 * third.log10(), 0.003);
    }
}
