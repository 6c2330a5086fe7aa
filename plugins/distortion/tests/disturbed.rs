//! Who is told of disturbances: not links that merely distort, but those in which something else
//! was heard.

mod common;

use std::f64::consts::{PI, SQRT_2};

use common::{RATE_HZ, analyse, request, stimulus, through};
use goodwire_dsp::noise::gaussian;
use goodwire_plugin_sdk::payload::open_request::Mode;

/// A Butterworth high-pass of second order (bilinear), as at the output of most receivers: each
/// change of tone leaves a swing in it that lasts.
fn high_pass(samples: &[f32], corner_hz: f64) -> Vec<f32> {
    if corner_hz == 0.0 {
        return samples.to_vec();
    }
    let k = (PI * corner_hz / f64::from(RATE_HZ)).tan();
    let norm = 1.0 / (1.0 + SQRT_2 * k + k * k);
    let (a1, a2) = (
        2.0 * (k * k - 1.0) * norm,
        (1.0 - SQRT_2 * k + k * k) * norm,
    );
    let (mut s1, mut s2) = (0.0, 0.0);
    (samples.iter())
        .map(|&x| {
            let x = f64::from(x) * norm;
            let y = x + s1;
            s1 = -2.0 * x - a1 * y + s2;
            s2 = x - a2 * y;
            y as f32
        })
        .collect()
}

/// The tones that are told of.
fn told(freqs_hz: &[f64], sent: &[f32], returned: &[f32]) -> Option<String> {
    let request = request(Mode::Recorded, &[], freqs_hz);
    let result = analyse(&request, sent, returned, Some(sent)).unwrap();
    let note = result
        .notes
        .iter()
        .find(|note| note.id == "disturbed-tones");
    note.map(|note| note.text.split(": ").next().unwrap().to_owned())
}

type Bend = (&'static str, fn(f64) -> f64);

const BENDS: [Bend; 7] = [
    ("straight", |x| x),
    ("polynomial 0.001, 0.003", |x| {
        x + 0.001 * x * x + 0.003 * x * x * x
    }),
    ("polynomial 0.05, 0.1", |x| {
        x + 0.05 * x * x + 0.1 * x * x * x
    }),
    ("cut by 0.1 dB", |x| x.clamp(-0.0989, 0.0989)),
    ("cut by 6 dB", |x| x.clamp(-0.05, 0.05)),
    ("cut on one side", |x| x.min(0.07)),
    ("tanh", |x| 0.1 * (x / 0.1).tanh()),
];

#[test]
fn links_that_merely_distort_have_no_disturbed_tones_with_corners_from_0_to_80_hz() {
    let freqs_hz = [63.0, 125.0, 997.0];
    let sent = stimulus(&request(Mode::Recorded, &[], &freqs_hz));
    let mut wrong = Vec::new();
    for (index, (kind, bend)) in BENDS.iter().enumerate() {
        let bent: Vec<f32> = through(&sent, 200, 0.0, 1, bend);
        for (corner_hz, noise) in [
            (0.0, 0.0),
            (3.0, 7e-6),
            (8.0, 0.0),
            (8.0, 7e-6),
            (20.0, 1e-4),
            (80.0, 1e-6),
        ] {
            let filtered = high_pass(&bent, corner_hz);
            let returned = through(&filtered, 0, noise, index as u64, |x| x);
            if let Some(tones) = told(&freqs_hz, &sent, &returned) {
                wrong.push(format!("{kind}, {corner_hz} Hz, noise {noise}: {tones}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// A door: 200 ms of dull noise that dies away, from `at` on, of `peak`.
fn door(samples: &mut [f32], at: usize, peak: f64) {
    let mut dull = 0.0;
    for n in 0..9_600 {
        dull += 0.05 * (gaussian(77, n) - dull);
        let fade = (-(n as f64) / 2_000.0).exp();
        samples[at + n as usize] += (5.0 * peak * fade * dull) as f32;
    }
}

/// Somebody speaks: noise in syllables of 200 ms, over all of the sound.
fn speech(samples: &mut [f32], peak: f64) {
    for (n, sample) in samples.iter_mut().enumerate() {
        let syllable = (PI * n as f64 / 9_600.0).sin().powi(4);
        *sample += (peak * syllable * gaussian(78, n as u64)) as f32;
    }
}

#[test]
fn door_in_one_tone_is_told_of_that_tone_and_speech_of_all() {
    let sent = stimulus(&request(Mode::Recorded, &[], &[]));
    for (kind, bend) in BENDS {
        let bent: Vec<f32> = through(&sent, 200, 0.0, 1, bend);
        let returned = through(&high_pass(&bent, 8.0), 0, 7e-6, 1, |x| x);
        // Tones of a second, the first one at 1.85 s: the door falls shut in the second, 125 Hz.
        let mut slammed = returned.clone();
        door(&mut slammed, (3.2 * f64::from(RATE_HZ)) as usize, 0.02);
        assert_eq!(
            told(&[], &sent, &slammed).as_deref(),
            Some("125 Hz"),
            "{kind}"
        );
        let mut spoken = returned.clone();
        speech(&mut spoken, 0.02);
        let tones = told(&[], &sent, &spoken).unwrap_or_default();
        assert_eq!(tones.split(", ").count(), 8, "{kind}: {tones}");
    }
}
