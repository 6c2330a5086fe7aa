//! Links of random gain, delay, filters, polarity, clock and noise.

#[path = "../../dsp/tests/support/link.rs"]
mod link;

use goodwire_plugin_latency::Latency;
use goodwire_plugin_sdk::payload::SessionResult;
use link::*;
use proptest::prelude::*;

const RATE_HZ: f64 = 48_000.0;
/// RMS of noise that hides rounding and little else: 80 dB below the sweeps.
const QUIET: f64 = 7e-6;

fn bench() -> Bench {
    Bench::of::<Latency>("latency", 48_000)
        .set("sweep_s", 0.3)
        .set("repeats", 2.0)
        .set("wake_s", 0.1)
}

/// Frames of the delay of `form` by the definition, by quadrature: minus the integral of the
/// phase over that of `2 pi f`, from 1 to 10 kHz. Its phase stays within half a turn there.
fn delay_frames(form: impl Fn(f64) -> goodwire_dsp::Complex64) -> f64 {
    let count = 9_000;
    let (mut top, mut bottom) = (0.0, 0.0);
    for n in 0..count {
        let f = 1_000.0 + 9_000.0 * (f64::from(n) + 0.5) / f64::from(count);
        top -= form(f).arg();
        bottom += std::f64::consts::TAU * f;
    }
    top / bottom * RATE_HZ
}

fn analysed(bench: &Bench, sent: &[f32], returned: &[f32], seed: u64) -> SessionResult {
    let mut cable = sent.to_vec();
    cable.resize(returned.len(), 0.0);
    let cable = with_noise(&cable, QUIET, seed + 500);
    bench
        .analyse::<Latency>(sent, returned, Some(&cable))
        .unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 12,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn latency_skew_and_polarity_of_any_link_are_those_of_the_closed_form(
        gain in 0.05..2.0f64,
        inverted in any::<bool>(),
        late in 0.0..9_000.0f64,
        low_hz in 10.0..200.0f64,
        high_hz in 16_000.0..23_000.0f64,
        ppm in -120.0..120.0f64,
        snr_db in 10.0..80.0f64,
        seed in 0..1_000u64,
    ) {
        let (bench, sign) = (bench(), if inverted { -1.0 } else { 1.0 });
        let sent = bench.sent::<Latency>();
        let form = |f: f64| high_pass(low_hz, 1)(f) * low_pass(high_hz, 2)(f);
        let link = through(&sent, RATE_HZ, 24_000, |f| {
            form(f) * delayed(late, RATE_HZ)(f) * gain * sign
        });
        let mut cable = sent.clone();
        cable.resize(link.len(), 0.0);
        let rms = 0.0707 * gain * 10f64.powf(-snr_db / 20.0);
        let returned = with_noise(&on_clock(&link, ppm), rms, 2 * seed);
        let reference = with_noise(&on_clock(&cable, ppm), rms, 2 * seed + 1);
        let result = bench
            .analyse::<Latency>(&sent, &returned, Some(&reference))
            .unwrap();
        let want_ms = (late + delay_frames(form)) * (1.0 + ppm * 1e-6) / 48.0;
        let ([ms, sigma_ms], [skew, sigma]) = (value(&result, "latency"), value(&result, "skew"));
        // Filters leave a few thousandths of a frame where the corner cuts the band.
        prop_assert!((ms - want_ms).abs() < 5.0 * sigma_ms + 0.005 / 48.0, "{ms} ms, {want_ms}");
        prop_assert!((skew - ppm).abs() < 5.0 * sigma + 0.001, "{skew} ± {sigma} ppm, {ppm}");
        prop_assert_eq!(has_note(&result, "inverted"), inverted);
        prop_assert!(result.events.is_empty());
    }

    #[test]
    fn louder_inverted_or_later_moves_nothing_else(
        late in 0.0..5_000.0f64,
        more in 0.0..5_000.0f64,
        seed in 0..1_000u64,
    ) {
        let bench = bench();
        let sent = bench.sent::<Latency>();
        let link = |frames: f64| through(&sent, RATE_HZ, 24_000, delayed(frames, RATE_HZ));
        let first = with_noise(&link(late), QUIET, seed);
        let times = |factor: f32| first.iter().map(|x| x * factor).collect::<Vec<_>>();
        let plain = analysed(&bench, &sent, &first, seed);
        for (factor, inverted) in [(2.0, false), (-1.0, true)] {
            let moved = analysed(&bench, &sent, &times(factor), seed);
            for (a, b) in plain.figures.iter().zip(&moved.figures) {
                let off = (a.value.unwrap() - b.value.unwrap()).abs();
                prop_assert!(off < 1e-6, "{} by {off}", a.id);
            }
            prop_assert_eq!(has_note(&moved, "inverted"), inverted);
        }
        let later = analysed(&bench, &sent, &with_noise(&link(late + more), QUIET, seed), seed);
        let ms = |result: &SessionResult| value(result, "latency")[0];
        prop_assert!((ms(&later) - ms(&plain) - more / 48.0).abs() < 1e-4);
        for id in ["skew", "jitter"] {
            let [[a, of_a], [b, of_b]] = [&plain, &later].map(|result| value(result, id));
            prop_assert!((a - b).abs() < 5.0 * of_a.hypot(of_b), "{id}: {a} and {b}");
        }
    }
}
