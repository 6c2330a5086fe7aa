//! Wrong parameters and wrong recordings of `distortion`: told, never measured.

mod common;

use common::{analyse, figure_at, has_note, request, stimulus, through};
use goodwire_dsp::noise::gaussian;
use goodwire_plugin_distortion::Distortion;
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::{OpenError, Plugin};

#[test]
fn frequency_beyond_the_bandwidth_and_bandwidth_beyond_the_rate_are_refused_at_once() {
    let request = request(
        Mode::Live,
        &[("bandwidth_hz", 30_000.0)],
        &[997.0, 23_000.0],
    );
    let Err(OpenError::Invalid(violations)) = Distortion::open(&request) else {
        panic!("not refused");
    };
    let fields: Vec<&str> = violations
        .iter()
        .map(|wrong| wrong.field.as_str())
        .collect();
    assert_eq!(fields, ["freqs_hz", "bandwidth_hz"]);
    assert!(
        violations[0].text.contains("23000 Hz"),
        "{}",
        violations[0].text
    );
}

#[test]
fn schema_offers_three_methods_and_stepped_first() {
    let parameters = &Distortion::describe().analyses[0].parameters;
    let method = parameters.iter().find(|parameter| parameter.id == "method");
    assert_eq!(
        method.unwrap().choices,
        ["stepped", "swept", "intermodulation"]
    );
}

#[test]
fn wrong_recordings_fail_with_their_reason() {
    let request = request(Mode::Recorded, &[], &[500.0, 997.0]);
    let sent = stimulus(&request);
    let count = sent.len();
    let noise: Vec<f32> = (0..count)
        .map(|n| 0.1 * gaussian(3, n as u64) as f32)
        .collect();
    let mut broken = sent.clone();
    broken[count / 2] = f32::INFINITY;
    let clipped = through(&sent, 0, 0.0, 1, |x| (30.0 * x).clamp(-1.0, 1.0));
    let other: Vec<f32> = sent.iter().map(|x| 0.5 * x).collect();
    let cases: [(&str, &[f32], &[f32]); 7] = [
        ("no-signal", &sent, &vec![0.0; count]),
        ("unrelated", &sent, &noise),
        ("not-finite", &sent, &broken),
        ("too-short", &sent, &sent[..count / 2]),
        (
            "cut-off",
            &sent,
            &[&vec![0.0; count / 2], &sent[..count / 2]].concat(),
        ),
        ("clipped", &sent, &clipped),
        ("sent-mismatch", &other, &sent),
    ];
    for (id, sent, returned) in cases {
        let failure = analyse(&request, sent, returned, None).unwrap_err();
        assert_eq!(failure.id, id, "{}", failure.text);
    }
}

#[test]
fn recordings_turned_round_or_with_two_tones_changed_over_give_no_figures() {
    for freqs_hz in [&[][..], &[997.0], &[500.0, 997.0, 2000.0]] {
        let request = request(Mode::Recorded, &[], freqs_hz);
        let sent = stimulus(&request);
        let file = &sent[..sent.len() - 52_800];
        let turned: Vec<f32> = file.iter().rev().copied().collect();
        for (gain, noise) in [(1.0, 0.0), (-0.05, 1e-4), (3.0, 0.02)] {
            let returned = through(&turned, 0, noise, 3, |x| gain * x);
            let failure = analyse(&request, &sent, &returned, None).unwrap_err();
            assert_eq!(failure.id, "unrelated", "{}", failure.text);
            let failure = analyse(&request, &sent, &sent, Some(&returned)).unwrap_err();
            assert_eq!(failure.id, "unrelated", "{}", failure.text);
        }
    }
    // Bursts and the first tone where they belong; each tone lasts a second.
    let request = request(Mode::Recorded, &[("wake_s", 0.0)], &[500.0, 997.0, 2000.0]);
    let sent = stimulus(&request);
    let second = ((0.05 + 0.15 + 0.15 + 1.0) * 48_000.0) as usize;
    let mut swapped = sent.clone();
    swapped[second..second + 96_000].rotate_left(48_000);
    let failure = analyse(&request, &sent, &swapped, None).unwrap_err();
    assert_eq!(failure.id, "unrelated", "{}", failure.text);
}

#[test]
fn honest_links_with_noise_10_db_below_the_tones_or_without_the_outer_ones_keep_their_figures() {
    let request = request(Mode::Recorded, &[], &[]);
    let sent = stimulus(&request);
    for seed in 0..5 {
        // Power of the tones 0.005, of the noise 0.0005.
        let returned = through(&sent, 4_000, 5e-4f64.sqrt(), seed, |x| -x);
        let result = analyse(&request, &sent, &returned, Some(&sent)).unwrap();
        for freq_hz in [63.0, 997.0, 6300.0] {
            assert!(figure_at(&result, "thd", freq_hz).is_some(), "{freq_hz} Hz");
        }
    }
    // Neither the first nor the last tone passes.
    let first = ((1.5 + 0.05 + 0.15 + 0.15) * 48_000.0) as usize;
    let mut returned = through(&sent, 0, 1e-4, 1, |x| x);
    let noise = through(&vec![0.0; sent.len()], 0, 1e-4, 9, |x| x);
    for lost in [
        first..first + 48_000,
        first + 7 * 48_000..first + 8 * 48_000,
    ] {
        returned[lost.clone()].copy_from_slice(&noise[lost]);
    }
    let result = analyse(&request, &sent, &returned, Some(&sent)).unwrap();
    assert!(figure_at(&result, "thd", 997.0).is_some() && has_note(&result, "tone-missing"));
}

#[test]
fn recorder_that_clips_by_10_db_at_full_scale_of_16_bit_gives_no_figures_of_any_tone() {
    let request = request(Mode::Recorded, &[("level_dbfs", -6.0)], &[]);
    let sent = stimulus(&request);
    // Written at a scale of 32767 or 32768 steps; read as steps of 1 / 32768.
    for steps in [32_767.0, 32_768.0] {
        let recorder = |x: f64| {
            let whole = (steps * x * 10f64.powf(16.0 / 20.0)).round();
            whole.clamp(-32_768.0, 32_767.0) / 32_768.0
        };
        let returned = through(&sent, 480, 0.0, 1, recorder);
        let failure = analyse(&request, &sent, &returned, None).unwrap_err();
        assert_eq!(failure.id, "clipped", "{}", failure.text);
    }
}

#[test]
fn tone_that_alone_clips_the_recorder_has_no_figures_and_a_warning() {
    let request = request(Mode::Recorded, &[("level_dbfs", -6.0)], &[500.0, 997.0]);
    let sent = stimulus(&request);
    let second = ((1.5 + 0.05 + 0.15 + 0.15 + 1.0) * 48_000.0) as usize;
    let mut returned = through(&sent, 0, 1e-5, 1, |x| x);
    for sample in &mut returned[second..second + 48_000] {
        *sample = (*sample * 2.1).clamp(-1.0, 32_767.0 / 32_768.0);
    }
    let result = analyse(&request, &sent, &returned, None).unwrap();
    assert!(figure_at(&result, "thd", 500.0).is_some());
    assert!(figure_at(&result, "thd", 997.0).is_none());
    assert!(has_note(&result, "return-clipped"));
}
