//! Wrong parameters and wrong recordings of `level`: told, never measured.

mod common;

use common::{analyse, request, stimulus, through};
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
