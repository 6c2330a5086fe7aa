//! Errors that follow the signal, as those of lossy coders do.

#[path = "../../dsp/tests/support/link.rs"]
mod link;

use goodwire_dsp::noise::gaussian;
use goodwire_plugin_response::Response;
use goodwire_plugin_sdk::payload::SessionResult;
use link::*;

const RATE_HZ: f64 = 48_000.0;
const ID: &str = "error-follows-signal";

fn measured(duration_s: f64, link: impl Fn(&[f32]) -> Vec<f32>) -> SessionResult {
    let bench = Bench::of::<Response>("response", 48_000).set("duration_s", duration_s);
    let mut sent = bench.sent::<Response>();
    let count = sent.len();
    sent.resize(count + 24_000, 0.0);
    let returned = with_noise(&link(&sent), 1e-6, 4);
    let result = bench.analyse::<Response>(&sent[..count], &returned, Some(&sent));
    result.unwrap()
}

/// A coder that writes down the gain of every block of 10 ms off by 1 %, faded from one block to
/// the next.
fn coarse(sent: &[f32], seed: u64) -> Vec<f32> {
    let block = 480;
    let gain = |number: u64| 1.0 + 0.01 * gaussian(seed, number);
    let coded = sent.iter().enumerate().map(|(frame, &sample)| {
        let (number, share) = (
            (frame / block) as u64,
            (frame % block) as f64 / block as f64,
        );
        let gain = gain(number) * (1.0 - share) + gain(number + 1) * share;
        (f64::from(sample) * gain) as f32
    });
    coded.collect()
}

#[test]
fn a_gain_that_is_1_percent_off_from_block_to_block_is_told_within_a_factor_of_2_5() {
    let (mut off, mut told, mut count) = (0.0, 0.0, 0.0);
    for seed in 0..6 {
        let result = measured(5.0, |sent| coarse(sent, seed));
        assert!(has_note(&result, ID), "{:?}", result.notes);
        let curve = curve(&result, "magnitude");
        let points = curve.x.iter().zip(&curve.y).zip(&curve.y_uncertainty);
        for ((_, db), sigma) in points.filter(|((f, _), _)| (40.0..1_000.0).contains(*f)) {
            off += db * db;
            told += sigma * sigma;
            count += 1.0;
        }
    }
    let ratio = (off / told).sqrt();
    println!(
        "{:.4} dB off, {ratio:.2} of what is told",
        (off / count).sqrt()
    );
    assert!((0.4..2.5).contains(&ratio), "{ratio} of what is told");
}

#[test]
fn links_that_filter_bend_or_hiss_have_no_error_that_follows_the_signal() {
    let bent = |sent: &[f32]| {
        sent.iter()
            .map(|x| x + 0.5 * x * x + 2.0 * x.powi(3))
            .collect()
    };
    let filtered = |sent: &[f32]| {
        through(sent, RATE_HZ, 0, |f| {
            high_pass(60.0, 4)(f) * low_pass(12_000.0, 8)(f)
        })
    };
    // A filter without phase rings on both sides alike.
    let even = |sent: &[f32]| through(sent, RATE_HZ, 0, |f| low_pass(14_000.0, 8)(f).norm().into());
    let hissing = |sent: &[f32]| with_noise(sent, 0.002, 77);
    for (name, result) in [
        ("bent", measured(2.0, bent)),
        ("filtered", measured(2.0, filtered)),
        ("even", measured(2.0, even)),
        ("hissing", measured(2.0, hissing)),
    ] {
        assert!(!has_note(&result, ID), "{name}: {:?}", result.notes);
    }
}
