//! Wrong parameters and wrong recordings of `distortion`: told, never measured.

mod common;

use common::{analyse, request, stimulus, through};
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
fn schema_offers_no_method_but_stepped() {
    let parameters = &Distortion::describe().analyses[0].parameters;
    let method = parameters.iter().find(|parameter| parameter.id == "method");
    assert_eq!(method.unwrap().choices, ["stepped"]);
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
