//! Wrong recordings of `noise`: told, never measured.

mod common;

use common::*;
use goodwire_dsp::noise::gaussian;

#[test]
fn wrong_recordings_fail_with_their_reason() {
    let rig = Rig::new(RATE_HZ, 1.0);
    let sent = rig.sent.clone();
    let count = sent.len();
    let noise: Vec<f32> = (0..count)
        .map(|n| 0.1 * gaussian(3, n as u64) as f32)
        .collect();
    let mut broken = sent.clone();
    broken[count / 2] = f32::NAN;
    let mut clipped = sent.clone();
    for (n, sample) in clipped[100_000..110_000].iter_mut().enumerate() {
        *sample = (0.3 * (n as f32 * 0.05).sin()).clamp(-0.2, 0.2);
    }
    let backwards: Vec<f32> = sent.iter().rev().copied().collect();
    let late = [&vec![0.0; count / 2], &sent[..count / 2]].concat();
    let noisy = with_noise(&backwards, 1e-5, 4);
    let cases: [(&str, &[f32]); 8] = [
        ("no-signal", &vec![0.0; count]),
        ("unrelated", &noise),
        ("not-finite", &broken),
        ("too-short", &sent[..count / 2]),
        ("cut-off", &late),
        ("clipped", &clipped),
        ("unrelated", &backwards),
        ("unrelated", &noisy),
    ];
    for (id, returned) in cases {
        for (link, reference) in [(returned, None), (&sent[..], Some(returned))] {
            let mut reference = reference.map(<[f32]>::to_vec);
            if let Some(reference) = &mut reference {
                reference.resize(sent.len(), 0.0);
                if id == "too-short" {
                    continue;
                }
            }
            let failure = rig.analyse(link, reference.as_deref());
            let failure = failure.expect_err(id);
            assert_eq!(failure.id, id, "{}", failure.text);
        }
    }
}

#[test]
fn another_stimulus_as_sent_is_refused() {
    let rig = Rig::new(RATE_HZ, 1.0);
    let half: Vec<f32> = rig.sent.iter().map(|x| 0.5 * x).collect();
    let failure = rig
        .bench
        .analyse::<goodwire_plugin_noise::Noise>(&half, &rig.sent, None);
    assert_eq!(failure.unwrap_err().id, "sent-mismatch");
}

#[test]
fn cable_in_which_the_tone_is_buried_gives_no_gain_and_no_levels() {
    let mut rig = Rig::new(RATE_HZ, 1.0);
    rig.reference_noise = 0.05;
    let (link, reference) = rig.returns(|_| 0.0);
    let failure = rig.analyse(&link, Some(&reference)).unwrap_err();
    assert_eq!(failure.id, "no-signal", "{}", failure.text);
    assert!(failure.text.contains("reference"));
}

#[test]
fn without_a_reference_levels_are_those_at_the_return_and_a_note_says_so() {
    let rig = Rig::new(RATE_HZ, 1.0);
    let (link, _) = rig.returns(|_| 0.0);
    let result = rig.analyse(&link, None).unwrap();
    check_finite(&result);
    near(&result, "noise", white_dbfs(1e-4, RATE_HZ), 0.15);
    assert!(has_note(&result, "no-reference"));
    assert!(
        result
            .figures
            .iter()
            .all(|figure| !figure.id.starts_with("reference"))
    );
}
