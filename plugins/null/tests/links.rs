//! Links whose difference from a cable is known in closed form.

#[path = "../../dsp/tests/support/link.rs"]
mod link;

use goodwire_dsp::Complex64;
use goodwire_dsp::noise::gaussian;
use goodwire_dsp::resample::Resampler;
use goodwire_plugin_null::Null;
use goodwire_plugin_sdk::payload::{Match, SessionResult};
use link::*;
use proptest::prelude::*;

const RATE_HZ: f64 = 48_000.0;

/// What a link of response `gain` makes of the stimulus beside a cable.
fn run(bench: &Bench, gain: impl Fn(f64) -> Complex64, noise: f64, seed: u64) -> SessionResult {
    let rate_hz = f64::from(bench.request.rate_hz);
    let sent = bench.sent::<Null>();
    let returned = with_noise(&through(&sent, rate_hz, 9_600, gain), noise, seed);
    let mut cable = sent.clone();
    cable.resize(returned.len(), 0.0);
    let result = bench
        .analyse::<Null>(&sent, &returned, Some(&cable))
        .unwrap();
    check_finite(&result);
    result
}

fn bench(rate_hz: i32) -> Bench {
    let mut bench = Bench::of::<Null>("null", rate_hz).set("wake_s", 0.2);
    bench.request.has_reference = true;
    bench
}

/// What is left of every whole frequency from 20 Hz to 20 kHz behind a link `gain`, as a share of
/// the reference's amplitude, with the delay and the gain that leave least of pink noise: the
/// largest sum `C` of `Re(H exp(j w t)) / f` over `t`, by a search in ever smaller steps, and
/// `C / sum(|H|² / f)`, which is given too.
fn left(gain: impl Fn(f64) -> Complex64) -> (Vec<(f64, f64)>, f64) {
    let bins: Vec<(f64, Complex64)> = (20..=20_000).map(f64::from).map(|f| (f, gain(f))).collect();
    let turn = |f: f64, time_s: f64| Complex64::cis(std::f64::consts::TAU * f * time_s);
    let sum = |time_s: f64| -> f64 {
        let turned = |(f, h): &(f64, Complex64)| (h * turn(*f, time_s)).re / f;
        bins.iter().map(turned).sum()
    };
    let (mut centre_s, mut step_s) = (0.0, 0.5 / RATE_HZ);
    while step_s > 1e-10 {
        let around = (-10..=10).map(|n| centre_s + f64::from(n) * step_s);
        let best = around.max_by(|&a, &b| sum(a).abs().total_cmp(&sum(b).abs()));
        centre_s = best.unwrap();
        step_s /= 5.0;
    }
    let factor = sum(centre_s) / bins.iter().map(|(f, h)| h.norm_sqr() / f).sum::<f64>();
    let left = bins.iter();
    let left = left.map(|(f, h)| (*f, (1.0 - h * turn(*f, centre_s) * factor).norm()));
    (left.collect(), factor)
}

/// Energy left of pink noise between two frequencies in Hz, re its own, in dB.
fn left_db(left: &[(f64, f64)], [from_hz, to_hz]: [f64; 2]) -> f64 {
    let (mut energy, mut reference) = (0.0, 0.0);
    for (f, share) in left.iter().filter(|(f, _)| (from_hz..to_hz).contains(f)) {
        energy += share * share / f;
        reference += 1.0 / f;
    }
    10.0 * (energy / reference).log10()
}

/// Null depth in dB of a link `gain`.
fn closed_form_db(gain: impl Fn(f64) -> Complex64) -> f64 {
    -left_db(&left(gain).0, [20.0, 20_001.0])
}

/// RMS of the stimulus' noise: of whole periods.
fn noise_rms(sent: &[f32]) -> f64 {
    goodwire_dsp::check::rms(&sent[76_000..][..96_000])
}

fn first_order(corner_hz: f64, high: bool) -> impl Fn(f64) -> Complex64 + Copy {
    move |f| {
        let s = Complex64::new(0.0, f / corner_hz);
        if high { s / (s + 1.0) } else { 1.0 / (s + 1.0) }
    }
}

#[test]
fn first_order_filters_leave_the_integral_of_their_difference_within_0_01_db() {
    for (corner_hz, high) in [
        (5_000.0, false),
        (20_000.0, false),
        (60_000.0, false),
        (30.0, true),
        (5.0, true),
    ] {
        let form = first_order(corner_hz, high);
        let result = run(
            &bench(48_000),
            |f| form(f) * delayed(333.3, RATE_HZ)(f) * -0.4,
            0.0,
            0,
        );
        let ([got_db, told_db], want_db) = (value(&result, "null_depth"), closed_form_db(form));
        println!(
            "{corner_hz} Hz, high {high}: {got_db:.4} ± {told_db:.5} dB, want {want_db:.4} dB"
        );
        assert!((got_db - want_db).abs() < 0.01);
    }
}

#[test]
fn residual_in_one_third_octaves_is_that_of_the_matched_filter_within_0_05_db() {
    for form in [first_order(10.0, true), first_order(15_000.0, false)] {
        let result = run(&bench(48_000), form, 0.0, 0);
        let (curve, left) = (curve(&result, "residual"), left(form).0);
        assert_eq!(curve.x.len(), 31);
        for (&f, &db) in curve.x.iter().zip(&curve.y) {
            let want_db = left_db(&left, [f * 10f64.powf(-0.05), f * 10f64.powf(0.05)]);
            assert!(
                (db - want_db).abs() < 0.05,
                "{f} Hz: {db}, want {want_db} dB"
            );
        }
    }
}

#[test]
fn same_sound_nulls_to_the_last_bit_and_says_so() {
    let result = run(&bench(48_000), |_| Complex64::new(1.0, 0.0), 0.0, 0);
    assert!(value(&result, "null_depth")[0] > 130.0);
    let bench = bench(48_000);
    let sent = bench.sent::<Null>();
    let same = bench.analyse::<Null>(&sent, &sent, Some(&sent)).unwrap();
    assert!((value(&same, "null_depth")[0] - 140.0).abs() < 1e-6);
    assert!(has_note(&same, "no-difference"));
}

#[test]
fn white_noise_leaves_1_plus_its_ratio_and_is_named_as_what_limits() {
    let bench = bench(48_000);
    let sent = bench.sent::<Null>();
    let rms = noise_rms(&sent);
    for snr_db in [0.0, 20.0, 40.0, 60.0] {
        let ratio = 10f64.powf(snr_db / 10.0);
        // What of the noise lies from 20 Hz to 20 kHz.
        let noise = rms / ratio.sqrt() * (24_000.0f64 / 19_981.0).sqrt();
        let result = run(&bench, |f| delayed(40.5, RATE_HZ)(f), noise, 9);
        let [got_db, told_db] = value(&result, "null_depth");
        let want_db = 10.0 * (1.0 + ratio).log10();
        println!("{snr_db} dB: {got_db:.4} ± {told_db:.4}, want {want_db:.4} dB");
        assert!((got_db - want_db).abs() < 4.0 * told_db && told_db < 0.03);
        // At 0 dB the best gain is a half, so that half of the difference is the sound itself.
        assert_eq!(has_note(&result, "noise-limited"), snr_db > 0.0);
    }
}

#[test]
fn clock_of_the_link_that_is_30_ppm_off_costs_no_more_than_80_db_allow() {
    let bench = bench(48_000);
    let sent = bench.sent::<Null>();
    for ppm in [30.0, -3.0, 0.4] {
        let step = 1.0 - ppm * 1e-6;
        let samples: Vec<f64> = sent.iter().map(|&x| f64::from(x)).collect();
        let count = sent.len() + 4_800;
        let returned: Vec<f32> = Resampler::new(step)
            .resample(&samples, -70.2, step, count)
            .iter()
            .map(|&x| x as f32)
            .collect();
        let mut cable = sent.clone();
        cable.resize(count, 0.0);
        let result = bench
            .analyse::<Null>(&sent, &returned, Some(&cable))
            .unwrap();
        let depth_db = value(&result, "null_depth")[0];
        println!("{ppm} ppm: {depth_db:.1} dB");
        assert!(depth_db > 80.0);
    }
}

#[test]
fn without_reference_the_link_is_compared_with_what_was_sent_and_other_rates_null_too() {
    let bench = bench(48_000);
    let sent = bench.sent::<Null>();
    let returned = through(&sent, RATE_HZ, 4_800, |f| delayed(12.25, RATE_HZ)(f) * 0.1);
    let result = bench.analyse::<Null>(&sent, &returned, None).unwrap();
    assert!(value(&result, "null_depth")[0] > 110.0 && has_note(&result, "no-reference"));
    for rate_hz in [44_100, 96_000, 192_000] {
        let rate = f64::from(rate_hz);
        let form = first_order(8_000.0, false);
        let result = run(
            &self::bench(rate_hz).set("duration_s", 2.0),
            |f| form(f) * delayed(5.3, rate)(f),
            0.0,
            0,
        );
        let got_db = value(&result, "null_depth")[0];
        assert!(
            (got_db - closed_form_db(form)).abs() < 0.01,
            "{rate_hz} Hz: {got_db} dB"
        );
    }
}

#[test]
fn match_of_the_paths_is_divided_out() {
    let mut bench = bench(48_000);
    let form = first_order(12_000.0, false);
    let frequencies: Vec<f64> = (0..600)
        .map(|n| 10.0 * 10f64.powf(f64::from(n) / 180.0))
        .collect();
    bench.request.r#match = Some(Match {
        gain_db: frequencies
            .iter()
            .map(|&f| 20.0 * form(f).norm().log10())
            .collect(),
        phase_degree: frequencies
            .iter()
            .map(|&f| form(f).arg().to_degrees())
            .collect(),
        frequency_hz: frequencies,
        latency_ms: 0.0,
    });
    let result = run(&bench, form, 0.0, 0);
    let depth_db = value(&result, "null_depth")[0];
    println!("{depth_db} dB");
    assert!(depth_db > 80.0 && !has_note(&result, "unmatched-paths"));
    bench.request.r#match = None;
    let plain = run(&bench, form, 0.0, 0);
    assert!(value(&plain, "null_depth")[0] < 30.0 && has_note(&plain, "unmatched-paths"));
}

#[test]
fn sounds_are_the_pair_and_their_difference_at_the_reference_s_level() {
    let form = first_order(4_000.0, false);
    let result = run(&bench(48_000), |f| form(f) * -3.0, 0.0, 0);
    let ids: Vec<&str> = result
        .sounds
        .iter()
        .map(|sound| sound.id.as_str())
        .collect();
    assert_eq!(ids, ["reference", "link", "difference"]);
    let [reference, link, difference] = [0, 1, 2].map(|n| &result.sounds[n].samples);
    assert_eq!(reference.len(), 240_000);
    for n in (0..240_000).step_by(997) {
        assert!((reference[n] - link[n] - difference[n]).abs() < 1e-6);
    }
    let rms = |samples: &[f32]| goodwire_dsp::check::rms(samples);
    let depth_db = 20.0 * (rms(reference) / rms(difference)).log10();
    assert!(
        (depth_db - value(&result, "null_depth")[0]).abs() < 0.01,
        "{depth_db} dB"
    );
}

#[test]
fn deviation_of_a_noisy_null_holds_one_of_65_to_72_percent_and_two_of_94_to_97() {
    let seeds = std::env::var("GOODWIRE_SEEDS")
        .ok()
        .and_then(|text| text.parse().ok());
    let count: u64 = seeds.unwrap_or(60);
    let bench = bench(48_000).set("duration_s", 3.0);
    let form = first_order(30_000.0, false);
    let sent = bench.sent::<Null>();
    let clean = through(&sent, RATE_HZ, 4_800, form);
    let rms = noise_rms(&sent);
    // As much noise as the filter leaves: both kinds of scatter are in it.
    let share = 10f64.powf(-closed_form_db(form) / 10.0);
    let noise = rms * (share * 24_000.0 / 19_981.0).sqrt();
    let depths: Vec<[f64; 2]> = (0..count)
        .map(|seed| {
            let returned = with_noise(&clean, noise, 2 * seed + 70);
            let mut cable = with_noise(&sent, 1e-7, 2 * seed + 71);
            cable.resize(returned.len(), 0.0);
            let result = bench
                .analyse::<Null>(&sent, &returned, Some(&cable))
                .unwrap();
            value(&result, "null_depth")
        })
        .collect();
    let mean = depths.iter().map(|[depth, _]| depth).sum::<f64>() / count as f64;
    // The link is turned up by the factor that matches it, and its noise with it.
    let factor = left(form).1;
    let truth = closed_form_db(form) - 10.0 * (1.0 + factor * factor).log10();
    println!(
        "mean {mean:.4}, truth {truth:.4}, told {:.4} dB",
        depths[0][1]
    );
    for (sigmas, [low, high]) in [(1.0, [0.65, 0.72]), (2.0, [0.94, 0.97])] {
        let within = depths
            .iter()
            .filter(|[depth, told]| (depth - truth).abs() < sigmas * told);
        let share = within.count() as f64 / count as f64;
        // Three binomial deviations beyond the goal's edges.
        let slack = |p: f64| 3.0 * (p * (1.0 - p) / count as f64).sqrt();
        println!("{sigmas} sigma: {:.1} % of {count}", 100.0 * share);
        assert!(low - slack(low) <= share && share <= high + slack(high));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn gain_delay_and_polarity_are_matched_away_to_more_than_100_db(
        gain_db in -40.0..15.0f64,
        frames in 0.0..3_000.0f64,
        inverted: bool,
    ) {
        let sign = if inverted { -1.0 } else { 1.0 };
        let factor = sign * 10f64.powf(gain_db / 20.0);
        let bench = bench(48_000).set("duration_s", 2.0);
        let result = run(&bench, |f| delayed(frames, RATE_HZ)(f) * factor, 0.0, 0);
        prop_assert!(value(&result, "null_depth")[0] > 100.0);
    }
}

#[test]
fn wrong_recordings_fail_with_their_reason() {
    let bench = bench(48_000).set("duration_s", 2.0);
    let sent = bench.sent::<Null>();
    let count = sent.len();
    let noise: Vec<f32> = (0..count)
        .map(|n| 0.1 * gaussian(3, n as u64) as f32)
        .collect();
    let mut broken = sent.clone();
    broken[count / 2] = f32::NAN;
    let clipped: Vec<f32> = sent.iter().map(|x| x.clamp(-0.04, 0.04)).collect();
    let backwards: Vec<f32> = sent.iter().rev().copied().collect();
    let late = [&vec![0.0; count / 2], &sent[..count / 2]].concat();
    let mut other = sent.clone();
    for (n, sample) in other[35_000..count - 25_000].iter_mut().enumerate() {
        *sample = 0.02 * gaussian(5, n as u64) as f32;
    }
    let cases: [(&str, &[f32]); 8] = [
        ("no-signal", &vec![0.0; count]),
        ("unrelated", &noise),
        ("not-finite", &broken),
        ("too-short", &sent[..count / 2]),
        ("cut-off", &late),
        ("clipped", &clipped),
        ("unrelated", &backwards),
        ("unrelated", &other),
    ];
    for (id, returned) in cases {
        let failure = bench.analyse::<Null>(&sent, returned, None).expect_err(id);
        assert_eq!(failure.id, id, "{}", failure.text);
        if id != "too-short" {
            let failure = bench
                .analyse::<Null>(&sent, &sent, Some(returned))
                .expect_err(id);
            assert_eq!(failure.id, id, "{}", failure.text);
            // Both alike wrong: they null, and are none of ours.
            let failure = bench
                .analyse::<Null>(&sent, returned, Some(returned))
                .expect_err(id);
            assert_eq!(failure.id, id, "{}", failure.text);
        }
    }
    let half: Vec<f32> = sent.iter().map(|x| 0.5 * x).collect();
    let failure = bench.analyse::<Null>(&half, &sent, None).unwrap_err();
    assert_eq!(failure.id, "sent-mismatch");
}
