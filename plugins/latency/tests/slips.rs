//! Samples that are dropped or inserted while the stimulus is played.

#[path = "../../dsp/tests/support/link.rs"]
mod link;

use goodwire_dsp::noise;
use goodwire_plugin_latency::Latency;
use goodwire_plugin_sdk::payload::SessionResult;
use link::*;

const RATE_HZ: f64 = 48_000.0;

/// `samples` with `count` frames fewer (below 0) or more (silence) from frame `at` on.
fn slipped(samples: &[f32], at: usize, count: i64) -> Vec<f32> {
    let lost = (-count).max(0) as usize;
    let mut slipped = samples[..at].to_vec();
    slipped.resize(at + count.max(0) as usize, 0.0);
    slipped.extend_from_slice(&samples[at + lost..]);
    slipped.resize(samples.len(), 0.0);
    slipped
}

/// A number between 0 and 1.
fn random(seed: u64, number: u64) -> f64 {
    0.5 * (noise::white(seed, number) + 1.0)
}

/// Sizes of all steps that are told, in samples.
fn told(result: &SessionResult) -> Vec<(f64, [f64; 2])> {
    result
        .events
        .iter()
        .map(|event| {
            let from_s = event.start_s.unwrap();
            let text = &event.text;
            let ms: f64 = text
                .split(" by ")
                .nth(1)
                .unwrap()
                .split(' ')
                .next()
                .unwrap()
                .parse()
                .unwrap();
            (ms * 48.0, [from_s, from_s + event.duration_s.unwrap()])
        })
        .collect()
}

#[test]
fn samples_dropped_or_inserted_at_any_moment_are_told_with_their_number() {
    let bench = Bench::of::<Latency>("latency", 48_000);
    let sent = bench.sent::<Latency>();
    let clean = through(&sent, RATE_HZ, 24_000, |f| {
        delayed(200.4, RATE_HZ)(f) * high_pass(80.0, 2)(f) * low_pass(15_000.0, 2)(f)
    });
    let cable = {
        let mut cable = sent.clone();
        cable.resize(clean.len(), 0.0);
        cable
    };
    // From within the opening burst to within the closing one: where both have passed 600 Hz.
    let (from, to) = (1.6 * RATE_HZ, sent.len() as f64 - 0.05 * RATE_HZ);
    let (mut all, mut missed) = (0, Vec::new());
    for (index, count) in [1i64, 3, 10, 48, 480]
        .iter()
        .flat_map(|&n| [n, -n])
        .enumerate()
    {
        for repeat in 0..6u64 {
            let seed = index as u64 * 6 + repeat;
            let at = from + (to - from) * random(41, seed);
            let rms = if repeat % 2 == 0 {
                0.0
            } else {
                0.1 / 2f64.sqrt() * 0.01
            };
            let late = slipped(&clean, (at + 200.0) as usize, count);
            let returned = with_noise(&late, rms, 2 * seed);
            let reference = with_noise(&cable, rms, 2 * seed + 1);
            let result = bench
                .analyse::<Latency>(&sent, &returned, Some(&reference))
                .unwrap();
            all += 1;
            let told = told(&result);
            let at_s = (at + 200.0) / RATE_HZ;
            let is_told = told.len() == 1
                && (told[0].0 - count as f64).abs() < 0.1
                && told[0].1[0] - 0.02 < at_s
                && at_s < told[0].1[1] + 0.02;
            if !is_told {
                missed.push(format!("{count} at {at_s:.3} s, noise {rms:.5}: {told:?}"));
            }
        }
    }
    println!("{} of {all} missed\n{}", missed.len(), missed.join("\n"));
    assert!(missed.is_empty());
}

#[test]
fn no_step_is_told_of_300_healthy_links_with_band_limits_clocks_swelling_levels_and_noise() {
    let bench = Bench::of::<Latency>("latency", 48_000)
        .set("sweep_s", 0.4)
        .set("repeats", 2.0)
        .set("wake_s", 0.1);
    let sent = bench.sent::<Latency>();
    for seed in 0..300u64 {
        let between = |number: u64, from: f64, to: f64| from + (to - from) * random(seed, number);
        let low_hz = 20.0 * (between(0, 0.0, 1.0) * 20f64.ln()).exp();
        let high_hz = 3_000.0 * (between(1, 0.0, 1.0) * 6f64.ln()).exp();
        let order = 1 + seed as usize % 4;
        let late = between(2, 0.0, 900.0);
        let clean = through(&sent, RATE_HZ, 24_000, |f| {
            delayed(late, RATE_HZ)(f) * high_pass(low_hz, order)(f) * low_pass(high_hz, order)(f)
        });
        // Up to 3 dB louder and softer within a second or two.
        let swell = between(3, 0.0, 0.4);
        let pace = between(4, 2e-5, 1e-4);
        let swelling: Vec<f32> = clean
            .iter()
            .enumerate()
            .map(|(n, &x)| x * (1.0 + swell * (pace * n as f64).sin()) as f32)
            .collect();
        let ppm = between(5, -120.0, 120.0);
        let rms = 0.0707 * 10f64.powf(-between(6, 0.0, 80.0) / 20.0);
        let returned = with_noise(&on_clock(&swelling, ppm), rms, seed);
        let mut cable = sent.clone();
        cable.resize(clean.len(), 0.0);
        let reference = with_noise(&on_clock(&cable, ppm), rms, seed + 1_000);
        let result = bench
            .analyse::<Latency>(&sent, &returned, Some(&reference))
            .unwrap();
        assert!(
            result.events.is_empty(),
            "{seed}: {low_hz} to {high_hz} Hz, {ppm} ppm, noise {rms}: {:?}",
            result.events
        );
    }
}
