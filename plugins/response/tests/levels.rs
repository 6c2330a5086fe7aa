//! Devices whose gain follows the level, each by its own law, and what they are taken for.

#[path = "../../dsp/tests/support/link.rs"]
mod link;

use goodwire_plugin_response::Response;
use goodwire_plugin_sdk::payload::SessionResult;
use goodwire_plugin_sdk::{Kind, ListValue, Value};
use link::*;

const RATE_HZ: f64 = 48_000.0;
const NAMES: [&str; 6] = [
    "compander-mismatch",
    "limiter",
    "compression",
    "expander",
    "noise-gate",
    "level-dependent",
];

/// The envelope of a detector of this attack and release, per frame.
fn envelope(samples: &[f32], attack_s: f64, release_s: f64) -> Vec<f64> {
    let share = |time_s: f64| 1.0 - (-1.0 / (time_s * RATE_HZ)).exp();
    let [attack, release] = [attack_s, release_s].map(share);
    let mut level = 1e-6;
    let follow = |&sample: &f32| {
        let size = f64::from(sample).abs();
        let share = if size > level { attack } else { release };
        level += (size - level) * share;
        level
    };
    samples.iter().map(follow).collect()
}

/// A device whose gain in dB is `law` of the detector's level in dBFS.
fn device(samples: &[f32], [attack_s, release_s]: [f64; 2], law: impl Fn(f64) -> f64) -> Vec<f32> {
    let levels = envelope(samples, attack_s, release_s);
    let gained = samples.iter().zip(levels).map(|(&sample, level)| {
        (f64::from(sample) * 10f64.powf(law(20.0 * level.log10()) / 20.0)) as f32
    });
    gained.collect()
}

/// Measures `link` at levels in dBFS, with noise of -110 dBFS.
fn measured(levels_dbfs: &[f64], link: impl Fn(&[f32]) -> Vec<f32>) -> SessionResult {
    let mut bench = Bench::of::<Response>("response", 48_000).set("duration_s", 1.0);
    let number = |&level: &f64| Value {
        kind: Some(Kind::NumberValue(level)),
    };
    let values = levels_dbfs.iter().map(number).collect();
    bench.insert("levels_dbfs", Kind::ListValue(ListValue { values }));
    let mut sent = bench.sent::<Response>();
    let count = sent.len();
    sent.resize(count + 24_000, 0.0);
    let returned = with_noise(&link(&sent), 3e-6, 5);
    bench
        .analyse::<Response>(&sent[..count], &returned, None)
        .unwrap()
}

/// What the link is taken for; the notes are printed.
fn names(result: &SessionResult) -> Vec<&str> {
    let told = result
        .notes
        .iter()
        .filter(|note| NAMES.contains(&&note.id[..]));
    told.map(|note| {
        println!("{}: {}", note.id, note.text);
        &note.id[..]
    })
    .collect()
}

const LEVELS_DBFS: [f64; 4] = [-50.0, -40.0, -30.0, -20.0];

#[test]
fn a_limiter_from_minus_32_dbfs_on_with_5_and_100_ms_is_a_limiter() {
    let result = measured(&LEVELS_DBFS, |sent| {
        device(sent, [0.005, 0.1], |level| -(level + 32.0).max(0.0) * 0.9)
    });
    assert_eq!(names(&result), ["limiter"]);
}

#[test]
fn a_2_to_1_compander_expanded_by_1_to_1_9_does_not_match() {
    let result = measured(&LEVELS_DBFS, |sent| {
        // Compressed to half the dB and expanded by 1.9 instead of 2: 5 % less for every dB.
        device(sent, [0.005, 0.1], |level| {
            (0.5 * 1.9 - 1.0) * (level + 20.0)
        })
    });
    assert_eq!(names(&result), ["compander-mismatch"]);
}

#[test]
fn a_gate_below_minus_38_dbfs_is_a_noise_gate_and_a_gentle_one_an_expander() {
    let below = |level: f64| (level + 38.0).clamp(-12.0, 0.0);
    let result = measured(&LEVELS_DBFS, |sent| {
        device(sent, [0.001, 0.2], |level| 2.5 * below(level))
    });
    assert_eq!(names(&result), ["noise-gate"]);
    let result = measured(&LEVELS_DBFS, |sent| {
        device(sent, [0.001, 0.2], |level| 0.5 * below(level))
    });
    assert_eq!(names(&result), ["expander"]);
}

#[test]
fn soft_saturation_is_compression_at_two_levels_and_at_four() {
    let soft = |sent: &[f32]| -> Vec<f32> { sent.iter().map(|x| 0.1 * (x / 0.1).tanh()).collect() };
    assert_eq!(names(&measured(&LEVELS_DBFS, soft)), ["compression"]);
    assert_eq!(names(&measured(&[-40.0, -20.0], soft)), ["compression"]);
}

#[test]
fn two_levels_of_a_limiter_leave_open_what_it_is() {
    let result = measured(&[-40.0, -20.0], |sent| {
        device(sent, [0.005, 0.1], |level| -(level + 32.0).max(0.0) * 0.9)
    });
    assert_eq!(names(&result), ["level-dependent"]);
}

#[test]
fn a_limiter_of_the_treble_alone_is_told_as_such() {
    let result = measured(&LEVELS_DBFS, |sent| {
        // Squares of Butterworth filters: their sum is an all-pass.
        let low = through(sent, RATE_HZ, 0, |f| low_pass(4_000.0, 2)(f).powi(2));
        let high = through(sent, RATE_HZ, 0, |f| high_pass(4_000.0, 2)(f).powi(2));
        let limited = device(&high, [0.002, 0.1], |level| -(level + 32.0).max(0.0) * 0.9);
        low.iter()
            .zip(limited)
            .map(|(low, high)| low + high)
            .collect()
    });
    assert_eq!(names(&result), ["limiter"]);
    let note = result
        .notes
        .iter()
        .find(|note| note.id == "limiter")
        .unwrap();
    assert!(
        note.text.contains("at 4000 to 20000 Hz alone"),
        "{}",
        note.text
    );
}

#[test]
fn clean_links_quiet_or_in_noise_have_no_name() {
    for rms in [0.0, 1e-4, 1e-3] {
        for seed in 0..8 {
            let result = measured(&[-50.0, -35.0, -20.0], |sent| {
                let form = |f: f64| high_pass(60.0, 2)(f) * low_pass(15_000.0, 2)(f);
                with_noise(&through(sent, RATE_HZ, 0, form), rms, 90 + seed)
            });
            assert!(names(&result).is_empty(), "noise {rms}, seed {seed}");
        }
    }
}
