//! Samples that are dropped or inserted while a single sweep is played.

#[path = "../../dsp/tests/support/link.rs"]
mod link;

use goodwire_dsp::noise;
use goodwire_plugin_response::Response;
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

#[test]
fn samples_dropped_or_inserted_within_a_single_sweep_are_told_and_the_curve_is_not_trusted() {
    let bench = Bench::of::<Response>("response", 48_000).set("duration_s", 2.0);
    let sent = bench.sent::<Response>();
    let clean = through(&sent, RATE_HZ, 24_000, |f| {
        delayed(200.4, RATE_HZ)(f) * high_pass(80.0, 2)(f) * low_pass(15_000.0, 2)(f)
    });
    let mut cable = sent.clone();
    cable.resize(clean.len(), 0.0);
    // The sweep: an octave of fade, then 2 s.
    let sizes = [1i64, 3, 10, 48, 480].iter().flat_map(|&n| [n, -n]);
    for (index, count) in sizes.enumerate() {
        for repeat in 0..4u64 {
            let seed = index as u64 * 4 + repeat;
            let at = (1.5 + 0.35 + 0.2 + 2.0 * random(43, seed)) * RATE_HZ;
            let rms = if repeat % 2 == 0 { 0.0 } else { 0.000_707 };
            let late = slipped(&clean, (at + 200.0) as usize, count);
            let returned = with_noise(&late, rms, 2 * seed);
            let reference = with_noise(&cable, rms, 2 * seed + 1);
            let result = bench
                .analyse::<Response>(&sent, &returned, Some(&reference))
                .unwrap();
            let [event] = &result.events[..] else {
                panic!("{count} at {at}, noise {rms}: {:?}", result.events);
            };
            let (at_s, from_s) = ((at + 200.0) / RATE_HZ, event.start_s.unwrap());
            assert_eq!(event.id, "shift");
            assert!(
                event
                    .text
                    .contains(&format!("as if {}.0 samples", count.abs())),
                "{event:?}"
            );
            assert!(from_s - 0.05 < at_s && at_s < from_s + event.duration_s.unwrap() + 0.05);
            assert!(has_note(&result, "slip"));
        }
    }
}

#[test]
fn no_step_is_told_of_100_healthy_links_with_band_limits_clocks_and_noise() {
    let bench = Bench::of::<Response>("response", 48_000)
        .set("duration_s", 0.7)
        .set("wake_s", 0.1);
    let sent = bench.sent::<Response>();
    for seed in 0..100u64 {
        let between = |number: u64, from: f64, to: f64| from + (to - from) * random(seed, number);
        let low_hz = 10.0 * (between(0, 0.0, 1.0) * 40f64.ln()).exp();
        let high_hz = 3_000.0 * (between(1, 0.0, 1.0) * 7f64.ln()).exp();
        let order = 1 + seed as usize % 4;
        let clean = through(&sent, RATE_HZ, 24_000, |f| {
            delayed(300.0, RATE_HZ)(f) * high_pass(low_hz, order)(f) * low_pass(high_hz, order)(f)
        });
        let ppm = between(5, -120.0, 120.0);
        let rms = 0.0707 * 10f64.powf(-between(6, 0.0, 80.0) / 20.0);
        let returned = with_noise(&on_clock(&clean, ppm), rms, seed);
        let result = bench.analyse::<Response>(&sent, &returned, None).unwrap();
        assert!(
            result.events.is_empty() && !has_note(&result, "slip"),
            "{seed}: {low_hz} to {high_hz} Hz, {ppm} ppm, noise {rms}: {:?}",
            result.events
        );
    }
}
