//! Wrong parameters and wrong recordings of `level`: told, never measured.

mod common;

use std::f64::consts::TAU;

use common::{RATE_HZ, analyse, figure, request, stimulus, through};
use goodwire_dsp::noise::gaussian;
use goodwire_plugin_level::Level;
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::{OpenError, Plugin};

#[test]
fn highest_level_of_minus_60_with_a_lowest_of_minus_60_dbfs_is_refused_naming_both() {
    let request = request(Mode::Live, &[("max_dbfs", -60.0)]);
    let Err(OpenError::Invalid(violations)) = Level::open(&request) else {
        panic!("not refused");
    };
    assert_eq!(violations.len(), 1);
    assert_eq!(violations[0].field, "max_dbfs");
    assert!(
        violations[0].text.contains("min_dbfs is -60 dBFS"),
        "{}",
        violations[0].text
    );
}

#[test]
fn wrong_recordings_fail_with_their_reason() {
    let request = request(Mode::Recorded, &[("min_dbfs", -20.0), ("step_db", 4.0)]);
    let sent = stimulus(&request);
    let count = sent.len();
    let noise: Vec<f32> = (0..count)
        .map(|n| 0.1 * gaussian(3, n as u64) as f32)
        .collect();
    let mut broken = sent.clone();
    broken[count / 2] = f32::NAN;
    let mut other = sent.clone();
    other.iter_mut().for_each(|x| *x *= 0.5);
    let (half, late) = (&sent[..count / 2], &sent[count / 4..]);
    let cases: [(&str, &[f32], &[f32]); 6] = [
        ("no-signal", &sent, &vec![0.0; count]),
        ("unrelated", &sent, &noise),
        ("not-finite", &sent, &broken),
        ("too-short", &sent, half),
        ("cut-off", &sent, late),
        ("sent-mismatch", &other, &sent),
    ];
    for (id, sent, returned) in cases {
        let failure = analyse(&request, sent, returned, None).unwrap_err();
        assert_eq!(failure.id, id, "{}", failure.text);
    }
    let cut_off = [&vec![0.0; count / 2], half].concat();
    let failure = analyse(&request, &sent, &cut_off, None).unwrap_err();
    assert_eq!(failure.id, "cut-off", "{}", failure.text);
}

#[test]
fn link_that_mutes_every_tone_fails_for_want_of_a_signal() {
    // The bursts pass, and nothing between them but noise.
    let request = request(Mode::Recorded, &[("min_dbfs", -20.0), ("step_db", 4.0)]);
    let sent = stimulus(&request);
    let body = 86_000..sent.len() - 52_800 - 20_000;
    let returned: Vec<f32> = through(&sent, 0, 1e-4, 1, |x| x)
        .iter()
        .enumerate()
        .map(|(n, x)| {
            if body.contains(&n) {
                1e-4 * gaussian(9, n as u64) as f32
            } else {
                *x
            }
        })
        .collect();
    let failure = analyse(&request, &sent, &returned, None).unwrap_err();
    assert_eq!(failure.id, "no-signal", "{}", failure.text);
}

/// What a memoryless link makes of a sample.
type Curve = fn(f64) -> f64;

/// A recording of no stimulus at all: brown noise, tones that decay, or syllables of noise.
fn unrelated(count: usize, kind: usize) -> Vec<f32> {
    let mut brown = 0.0;
    (0..count)
        .map(|n| {
            let time_s = n as f64 / f64::from(RATE_HZ);
            let white = gaussian(kind as u64, n as u64);
            brown = 0.998 * brown + 0.02 * white;
            let tones = |freqs_hz: [f64; 4]| -> f64 {
                let tone = |freq_hz: f64| (TAU * freq_hz * time_s).sin();
                freqs_hz.into_iter().map(tone).sum()
            };
            let sample = match kind {
                0 => brown,
                1 => 0.1 * tones([220.0, 330.0, 997.0, 1108.7]) * (-4.0 * (time_s % 0.8)).exp(),
                _ => 0.3 * white * (TAU * 2.0 * time_s).sin().max(0.0).powi(2) + 0.3 * brown,
            };
            sample as f32
        })
        .collect()
}

#[test]
fn recordings_turned_round_out_of_order_or_of_sounds_of_other_kinds_give_no_figures() {
    for set in [
        &[][..],
        &[("min_dbfs", -20.0), ("step_db", 4.0)],
        &[("min_dbfs", -3.0), ("max_dbfs", -1.0)],
    ] {
        let request = request(Mode::Recorded, set);
        let sent = stimulus(&request);
        let file = &sent[..sent.len() - 52_800];
        let backwards = |gain: f64, noise: f64| {
            let turned: Vec<f32> = file.iter().rev().copied().collect();
            through(&turned, 0, noise, 3, |x| gain * x)
        };
        let mut wrong = vec![
            backwards(1.0, 0.0),
            backwards(-0.05, 1e-3),
            backwards(2.0, 0.05),
        ];
        wrong.extend((0..3).map(|kind| unrelated(sent.len(), kind)));
        for (number, returned) in wrong.iter().enumerate() {
            let failure = analyse(&request, &sent, returned, None).unwrap_err();
            let known = ["unrelated", "no-signal", "sent-mismatch", "cut-off"];
            assert!(
                known.contains(&failure.id.as_str()),
                "{number}: {failure:?}"
            );
            assert!(
                number > 2 || failure.id == "unrelated",
                "{number}: {failure:?}"
            );
            let beside = analyse(&request, &sent, &sent, Some(returned)).unwrap_err();
            assert!(known.contains(&beside.id.as_str()), "{number}: {beside:?}");
        }
    }
    // Bursts where they belong, the halves of the body changed over: 21 steps of 0.5 s.
    let request = request(Mode::Recorded, &[("min_dbfs", -20.0), ("wake_s", 0.0)]);
    let mut sent = stimulus(&request);
    let whole = sent.clone();
    let body_first = (0.05 + 0.15 + 0.15) * f64::from(RATE_HZ);
    sent[body_first as usize..][..20 * 24_000].rotate_left(10 * 24_000);
    let failure = analyse(&request, &whole, &sent, None).unwrap_err();
    assert_eq!(failure.id, "unrelated", "{}", failure.text);
    let failure = analyse(&request, &whole, &whole, Some(&sent)).unwrap_err();
    assert_eq!(failure.id, "unrelated", "{}", failure.text);
}

#[test]
fn honest_links_with_noise_10_db_below_the_tone_limiters_and_gates_keep_their_figures() {
    let request = request(Mode::Recorded, &[]);
    let sent = stimulus(&request);
    let links: [(&str, f64, Curve); 4] = [
        // Power of the highest tone 0.5, of the noise 0.05.
        ("noisy", 0.05f64.sqrt(), |x| -x),
        ("limiter", 1e-4, |x| x.clamp(-0.01, 0.01)),
        ("gate", 1e-5, |x| if x.abs() < 0.003 { 0.0 } else { x }),
        ("quiet", 1e-5, |x| 1e-3 * x),
    ];
    for (name, noise, link) in links {
        for seed in 0..2 {
            let returned = through(&sent, 4_000, noise, seed, link);
            let result = analyse(&request, &sent, &returned, Some(&sent));
            let result = result.unwrap_or_else(|failure| panic!("{name}: {failure:?}"));
            assert!(figure(&result, "gain").is_some(), "{name}");
        }
    }
}
