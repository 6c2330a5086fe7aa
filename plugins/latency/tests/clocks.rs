//! Clocks that are off, links that step, filters, wrong recordings.

#[path = "../../dsp/tests/support/link.rs"]
mod link;

use goodwire_dsp::resample::Resampler;
use goodwire_plugin_latency::Latency;
use link::*;

const RATE_HZ: f64 = 48_000.0;

/// `samples` on a clock that is off by `ppm` (plus: more samples), starting `first` frames in.
fn on_clock_from(samples: &[f32], ppm: f64, first: f64) -> Vec<f32> {
    let input: Vec<f64> = samples.iter().map(|&x| f64::from(x)).collect();
    let step = 1.0 / (1.0 + ppm * 1e-6);
    let count = (samples.len() as f64 - first) as usize;
    let output = Resampler::new(step).resample(&input, first, step, count);
    output.iter().map(|&x| x as f32).collect()
}

#[test]
fn a_recorder_of_its_own_clock_changes_neither_latency_nor_jitter() {
    let bench = Bench::of::<Latency>("latency", 48_000);
    let sent = bench.sent::<Latency>();
    let link = through(&sent, RATE_HZ, 60_000, delayed(212.4, RATE_HZ));
    let mut cable = sent.clone();
    cable.resize(link.len(), 0.0);
    for (ppm, first, snr_db) in [
        (120.0, -20_000.5, 40.0),
        (-120.0, 3_000.25, 40.0),
        (33.0, 0.0, 60.0),
    ] {
        let rms = 0.1 / 2f64.sqrt() * 10f64.powf(-snr_db / 20.0);
        let returned = with_noise(&on_clock_from(&link, ppm, first), rms, 5);
        let reference = with_noise(&on_clock_from(&cable, ppm, first), rms, 6);
        let result = bench
            .analyse::<Latency>(&sent, &returned, Some(&reference))
            .unwrap();
        let frames = value(&result, "latency").map(|ms| ms * 48.0);
        let want = 212.4 * (1.0 + ppm * 1e-6);
        let (skew, jitter) = (value(&result, "skew"), value(&result, "jitter"));
        println!(
            "{ppm}: off {:e} ± {:e} frames, skew off {:e} ± {:e}, jitter {jitter:?}",
            frames[0] - want,
            frames[1],
            skew[0] - ppm,
            skew[1]
        );
        assert!((frames[0] - want).abs() < 4.0 * frames[1] + 1e-4);
        assert!((skew[0] - ppm).abs() < 0.05);
        assert!(jitter[0] < 5.0 * jitter[1]);
        // Without the reference: no latency, the same clock.
        let result = bench.analyse::<Latency>(&sent, &returned, None).unwrap();
        assert!(has_note(&result, "latency-unknown") && has_note(&result, "no-reference"));
        assert!(result.figures.iter().all(|figure| figure.id != "latency"));
        assert!((value(&result, "skew")[0] - ppm).abs() < 0.05);
        println!("   jitter {:?}", value(&result, "jitter"));
    }
}

#[test]
fn a_link_of_its_own_clock_shows_it_against_a_steady_reference() {
    let bench = Bench::of::<Latency>("latency", 48_000);
    let sent = bench.sent::<Latency>();
    let link = on_clock_from(
        &through(&sent, RATE_HZ, 60_000, delayed(212.4, RATE_HZ)),
        20.0,
        0.0,
    );
    let result = bench
        .analyse::<Latency>(&sent, &link, Some(&sent_as_long(&sent, &link)))
        .unwrap();
    let skew = value(&result, "skew");
    assert!((skew[0] - 20.0).abs() < 0.01, "{skew:?}");
    let over_time = curve(&result, "latency_over_time");
    println!("{over_time:?} {:?}", value(&result, "jitter"));
    for (time_s, ms) in over_time.x.iter().zip(&over_time.y) {
        let want_ms = 212.4 / 48.0 + 20e-6 * time_s * 1e3;
        assert!(
            (ms - want_ms).abs() < 1e-4,
            "at {time_s} s: {ms} ms, want {want_ms} ms"
        );
    }
}

fn sent_as_long(sent: &[f32], other: &[f32]) -> Vec<f32> {
    let mut cable = sent.to_vec();
    cable.resize(other.len(), 0.0);
    cable
}

#[test]
fn a_step_of_0_5_ms_between_two_repeats_is_told_with_its_place_and_size() {
    let bench = Bench::of::<Latency>("latency", 48_000);
    let sent = bench.sent::<Latency>();
    let early = through(&sent, RATE_HZ, 60_000, delayed(200.0, RATE_HZ));
    let late = through(&sent, RATE_HZ, 60_000, delayed(224.0, RATE_HZ));
    // In the middle of the sweeps, in the silence between the second and the third.
    let layout_s = 1.5 + 0.05 + 0.15 + 0.15;
    let length_s = 1.0 + (2f64.ln() + 1.122_5f64.ln()) / (16_000.0 / 300.0f64).ln();
    let at = ((layout_s + 2.0 * (length_s + 0.3) - 0.05) * RATE_HZ) as usize;
    let stepped: Vec<f32> = early[..at].iter().chain(&late[at..]).copied().collect();
    let noisy = with_noise(&stepped, 1e-5, 3);
    let result = bench
        .analyse::<Latency>(&sent, &noisy, Some(&sent_as_long(&sent, &stepped)))
        .unwrap();
    println!(
        "{:?}\n{:?}\n{:?}",
        result.figures,
        result.events,
        curve(&result, "latency_over_time")
    );
    assert!((value(&result, "jitter")[0] - 0.5).abs() < 1e-4);
    assert_eq!(result.events.len(), 1);
    assert_eq!(result.events[0].id, "shift");
    let start_s = result.events[0].start_s.unwrap();
    let end_s = start_s + result.events[0].duration_s.unwrap();
    assert!(start_s < at as f64 / RATE_HZ && at as f64 / RATE_HZ < end_s);
    assert!(value(&result, "skew")[0].abs() < 0.2);
}

#[test]
fn a_filtered_and_inverted_link_has_the_latency_of_the_straight_line_through_180_degree() {
    let bench = Bench::of::<Latency>("latency", 48_000);
    let sent = bench.sent::<Latency>();
    for (low_hz, high_hz, order) in [
        (50.0, 15_000.0, 4),
        (100.0, 6_000.0, 3),
        (20.0, 12_000.0, 8),
    ] {
        let form = |f: f64| -high_pass(low_hz, 2)(f) * low_pass(high_hz, order)(f);
        let late = delayed(100.0, RATE_HZ);
        let returned = through(&sent, RATE_HZ, 60_000, |f| form(f) * late(f));
        let result = bench
            .analyse::<Latency>(&sent, &returned, Some(&sent_as_long(&sent, &returned)))
            .unwrap();
        // The definition, by quadrature: -integral of phase df / (2 pi integral of f df), the
        // phase continuous and counted from 180 degree, from 1 kHz to 10 kHz or the corner.
        let gain = |f: f64| form(f).norm();
        let (mut power, mut corner_hz) = (0.0, 10_000.0f64);
        for n in 0..1_000 {
            let f = 1_000.0 * 10f64.powf(0.1 * ((f64::from(n) + 0.5) / 1_000.0 - 0.5));
            power += gain(f).powi(2) / 1_000.0;
        }
        let threshold = power.sqrt() * 10f64.powf(-3.0 / 20.0);
        if gain(10_000.0) < threshold {
            corner_hz = (1_000..10_000)
                .map(f64::from)
                .find(|&f| gain(f) < threshold)
                .unwrap();
        }
        let (mut last, mut top, mut bottom) = (0.0f64, 0.0, 0.0);
        let count = 20_000;
        for n in 0..count {
            let f = 1_000.0 + (corner_hz - 1_000.0) * (f64::from(n) + 0.5) / f64::from(count);
            let mut phase = (-form(f)).arg();
            phase += ((last - phase) / std::f64::consts::TAU).round() * std::f64::consts::TAU;
            last = phase;
            top -= phase;
            bottom += std::f64::consts::TAU * f;
        }
        let want = 100.0 + top / bottom * RATE_HZ;
        let frames = value(&result, "latency")[0] * 48.0;
        println!("{low_hz} {high_hz}: {frames} want {want}");
        assert!(
            (frames - want).abs() < 0.002,
            "{frames} frames, want {want}"
        );
        assert!(has_note(&result, "inverted"));
    }
}

#[test]
fn a_match_is_taken_off_and_declared_synchronous_recordings_need_no_reference() {
    let mut bench = Bench::of::<Latency>("latency", 48_000);
    let sent = bench.sent::<Latency>();
    let returned = through(&sent, RATE_HZ, 60_000, delayed(480.0, RATE_HZ));
    bench.request.synchronous = true;
    let result = bench.analyse::<Latency>(&sent, &returned, None).unwrap();
    assert!((value(&result, "latency")[0] - 10.0).abs() < 1e-6);
    assert!((value(&result, "air_path")[0] - 3.432).abs() < 1e-6);
    bench.request.r#match = Some(goodwire_plugin_sdk::payload::Match {
        latency_ms: 0.25,
        ..Default::default()
    });
    let cable = sent_as_long(&sent, &returned);
    let result = bench
        .analyse::<Latency>(&sent, &returned, Some(&cable))
        .unwrap();
    assert!((value(&result, "latency")[0] - 9.75).abs() < 1e-6);
    assert!(!has_note(&result, "unmatched-paths"));
}

#[test]
fn a_latency_beyond_max_ms_is_not_told() {
    let bench = Bench::of::<Latency>("latency", 48_000).set("max_ms", 5.0);
    let sent = bench.sent::<Latency>();
    let returned = through(&sent, RATE_HZ, 60_000, delayed(480.0, RATE_HZ));
    let cable = sent_as_long(&sent, &returned);
    let result = bench
        .analyse::<Latency>(&sent, &returned, Some(&cable))
        .unwrap();
    assert!(has_note(&result, "beyond-max-ms"));
    assert!(result.figures.iter().all(|figure| figure.id != "latency"));
}

#[test]
fn wrong_recordings_are_refused_each_with_its_reason() {
    let bench = Bench::of::<Latency>("latency", 48_000);
    let sent = bench.sent::<Latency>();
    let id = |sent: &[f32], returned: &[f32], reference: &[f32]| {
        let failure = bench
            .analyse::<Latency>(sent, returned, Some(reference))
            .unwrap_err();
        println!("{}: {}", failure.id, failure.text);
        failure.id
    };
    let silent = vec![0.0; sent.len()];
    let noise = with_noise(&silent, 0.03, 8);
    assert_eq!(id(&sent, &silent, &sent), "no-signal");
    assert_eq!(id(&sent, &noise, &sent), "unrelated");
    assert_eq!(id(&sent, &sent[..100_000], &sent[..100_000]), "too-short");
    let cut: Vec<f32> = sent.iter().map(|x| x.clamp(-0.06, 0.06)).collect();
    assert_eq!(id(&sent, &cut, &sent), "clipped");
    let other = Bench::of::<Latency>("latency", 48_000)
        .set("sweep_s", 2.0)
        .sent::<Latency>();
    assert_eq!(id(&other, &sent, &sent), "sent-mismatch");
    let rate = on_rate(&sent, 44_100.0);
    assert_eq!(id(&sent, &rate, &rate), "sent-mismatch");
    let mut burst_only = sent.clone();
    let body = (1.85 * RATE_HZ) as usize..sent.len() - (0.46 * RATE_HZ) as usize;
    burst_only[body.clone()].copy_from_slice(&noise[body]);
    assert_eq!(id(&sent, &burst_only, &sent), "unrelated");
}

/// A recording made at another rate than the one that is claimed.
fn on_rate(samples: &[f32], rate_hz: f64) -> Vec<f32> {
    let input: Vec<f64> = samples.iter().map(|&x| f64::from(x)).collect();
    let step = RATE_HZ / rate_hz;
    let count = (samples.len() as f64 / step) as usize;
    let output = Resampler::new(step).resample(&input, 0.0, step, count);
    output.iter().map(|&x| x as f32).collect()
}
