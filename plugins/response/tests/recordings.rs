//! Recordings made elsewhere: other clocks, other rates, other formats, several levels.

#[path = "../../dsp/tests/support/link.rs"]
mod link;

use goodwire_dsp::Complex64;
use goodwire_dsp::resample::Resampler;
use goodwire_plugin_response::Response;
use goodwire_plugin_sdk::payload::{Match, SessionResult};
use goodwire_plugin_sdk::{Kind, ListValue, Value};
use link::*;

const RATE_HZ: f64 = 48_000.0;

fn on_clock_from(samples: &[f32], step: f64, first: f64) -> Vec<f32> {
    let input: Vec<f64> = samples.iter().map(|&x| f64::from(x)).collect();
    let count = ((samples.len() as f64 - first) / step) as usize;
    let output = Resampler::new(step).resample(&input, first, step, count);
    output.iter().map(|&x| x as f32).collect()
}

/// Largest difference to the closed form in dB up to 20 kHz where that is above -40 dB.
fn worst_db(result: &SessionResult, gain: &dyn Fn(f64) -> Complex64) -> (f64, f64) {
    let curve = curve(result, "magnitude");
    curve
        .x
        .iter()
        .zip(&curve.y)
        .map(|(&f, &db)| (f, 20.0 * gain(f).norm().log10(), db))
        .filter(|(_, want_db, _)| *want_db > -40.0)
        .map(|(f, want_db, db)| ((db - want_db).abs(), f))
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .unwrap()
}

fn form(f: f64) -> Complex64 {
    high_pass(30.0, 2)(f) * low_pass(16_000.0, 4)(f)
}

#[test]
fn clocks_off_by_100_ppm_and_rates_from_44_1_to_192_khz_stay_within_0_02_db_without_reference() {
    for (sent_hz, returned_hz, ppm, first) in [
        (48_000, 48_000, 100.0, 0.0),
        (48_000, 48_000, -100.0, -7_000.3),
        (48_000, 44_100, 0.0, 0.0),
        (44_100, 48_000, 37.0, 1_000.0),
        (96_000, 44_100, -100.0, 0.0),
        (48_000, 192_000, 100.0, 0.0),
    ] {
        let mut bench = Bench::of::<Response>("response", sent_hz).set("duration_s", 2.0);
        bench.request.returned_rate_hz = returned_hz;
        let sent = bench.sent::<Response>();
        let filtered = through(&sent, f64::from(sent_hz), sent_hz as usize, form);
        let step = f64::from(sent_hz) / f64::from(returned_hz) / (1.0 + ppm * 1e-6);
        let returned = on_clock_from(&filtered, step, first);
        let result = bench.analyse::<Response>(&sent, &returned, None).unwrap();
        let (off_db, at_hz) = worst_db(&result, &form);
        println!("{sent_hz} {returned_hz} {ppm}: {off_db:.5} dB at {at_hz:.0} Hz");
        assert!(off_db < 0.02, "{off_db} dB off at {at_hz} Hz");
        assert!(has_note(&result, "no-reference"));
    }
}

#[test]
fn sixteen_bit_recordings_of_a_quiet_link_stay_within_0_05_db_and_within_4_of_what_is_told() {
    let bench = Bench::of::<Response>("response", 48_000);
    let sent = bench.sent::<Response>();
    let returned = through(&sent, RATE_HZ, 48_000, |f| form(f) * 0.1);
    let coarse: Vec<f32> = returned
        .iter()
        .map(|x| (x * 32_768.0).round() / 32_768.0)
        .collect();
    let result = bench.analyse::<Response>(&sent, &coarse, None).unwrap();
    let curve = curve(&result, "magnitude");
    for ((&f, &db), &told) in curve.x.iter().zip(&curve.y).zip(&curve.y_uncertainty) {
        let off_db = db - 20.0 * (form(f) * 0.1).norm().log10();
        assert!(
            off_db.abs() < 0.05 && off_db.abs() < 5.0 * told + 0.01,
            "{f} Hz: {off_db} ± {told} dB"
        );
    }
}

#[test]
fn gain_band_figures_and_corners_are_those_of_the_closed_form() {
    let bench = Bench::of::<Response>("response", 48_000);
    let sent = bench.sent::<Response>();
    let form = |f: f64| high_pass(100.0, 2)(f) * low_pass(12_000.0, 2)(f) * -0.5;
    let returned = through(&sent, RATE_HZ, 48_000, |f| {
        form(f) * delayed(200.0, RATE_HZ)(f)
    });
    let mut cable = sent.clone();
    cable.resize(returned.len(), 0.0);
    let result = bench
        .analyse::<Response>(&sent, &returned, Some(&cable))
        .unwrap();
    let mean: f64 = (0..2_000)
        .map(|n| 1_000.0 * 10f64.powf(0.1 * ((f64::from(n) + 0.5) / 2_000.0 - 0.5)))
        .map(|f| form(f).norm_sqr() / 2_000.0)
        .sum();
    let gain_db = 10.0 * mean.log10();
    println!("{:?}", result.figures);
    assert!((value(&result, "gain")[0] - gain_db).abs() < 1e-4);
    // -3 dB of a second-order Butterworth against its pass band: (f / fc)^4 = 10^0.3 - 1.
    let ratio = (10f64.powf(0.3) - 1.0).powf(0.25);
    let low_hz = value(&result, "corner_low")[0];
    let high_hz = value(&result, "corner_high")[0];
    let pass_db = gain_db - 20.0 * 0.5f64.log10();
    println!("{low_hz} {high_hz}, pass band {pass_db} dB");
    assert!((low_hz * ratio / 100.0 - 1.0).abs() < 2e-3, "{low_hz} Hz");
    assert!(
        (high_hz / ratio / 12_000.0 - 1.0).abs() < 2e-3,
        "{high_hz} Hz"
    );
    let bands: Vec<_> = result
        .figures
        .iter()
        .filter(|f| f.id == "deviation")
        .collect();
    assert_eq!(bands.len(), 10);
    let first = 20.0 * form(20.0).norm().log10() - gain_db;
    assert!(
        (bands[0].value.unwrap() - first).abs() < 0.01,
        "{:?}, want {first}",
        bands[0]
    );
    let at = &bands[0].at.as_ref().unwrap().fields;
    assert_eq!(at["from_hz"].kind, Some(Kind::NumberValue(20.0)));
    assert_eq!(at["to_hz"].kind, Some(Kind::NumberValue(63.0)));
    assert_eq!(at["frequency_hz"].kind, Some(Kind::NumberValue(20.0)));
    // Phase: inverted, so about 180 degree in the middle of the band; group delay of the filters.
    let phases = curve(&result, "phase");
    let middle = phases.x.partition_point(|&f| f < 1_000.0);
    assert!(
        (phases.y[middle] - 180.0).abs() < 20.0,
        "{}",
        phases.y[middle]
    );
    let delays = curve(&result, "group_delay");
    let difference = |index: usize| {
        let f = delays.x[index];
        let turn = form(f * 1.0001) * form(f / 1.0001).conj();
        -turn.arg() / (std::f64::consts::TAU * f * (1.0001 - 1.0 / 1.0001)) * 1e3
    };
    let offset = delays.y[middle] - difference(middle);
    for index in (40..delays.x.len() - 1).step_by(20) {
        let off = delays.y[index] - difference(index) - offset;
        // The slope between points 1/48 octave apart: a phase that is off by 0.0015 degree.
        let allowed = 2e-3 + 0.3 / delays.x[index];
        assert!(off.abs() < allowed, "{} Hz: {off} ms off", delays.x[index]);
    }
}

#[test]
fn repeats_that_come_back_at_different_times_average_to_the_same_curve_and_tell_the_jitter() {
    let bench = Bench::of::<Response>("response", 48_000)
        .set("duration_s", 1.0)
        .set("repeats", 2.0);
    let sent = bench.sent::<Response>();
    let early = through(&sent, RATE_HZ, 48_000, |f| {
        form(f) * delayed(100.0, RATE_HZ)(f)
    });
    let late = through(&sent, RATE_HZ, 48_000, |f| {
        form(f) * delayed(100.37, RATE_HZ)(f)
    });
    let at = (1.5 + 0.35 + 1.0 + 0.1446 * 2f64.ln() + 0.0167 + 0.1) * RATE_HZ;
    let both: Vec<f32> = early[..at as usize]
        .iter()
        .chain(&late[at as usize..])
        .copied()
        .collect();
    let result = bench.analyse::<Response>(&sent, &both, None).unwrap();
    let (off_db, at_hz) = worst_db(&result, &form);
    println!("{off_db} at {at_hz}, {:?}", value(&result, "jitter"));
    assert!(off_db < 0.01);
    assert!((value(&result, "jitter")[0] * 48.0 - 0.37).abs() < 0.01);
}

#[test]
fn a_link_whose_gain_falls_2_db_with_level_shows_a_level_dependence_of_2_db() {
    let mut bench = Bench::of::<Response>("response", 48_000).set("duration_s", 1.0);
    let values = [-40.0, -20.0].map(|level| Value {
        kind: Some(Kind::NumberValue(level)),
    });
    bench.insert(
        "levels_dbfs",
        Kind::ListValue(ListValue {
            values: values.to_vec(),
        }),
    );
    let sent = bench.sent::<Response>();
    let gain = 10f64.powf(-2.0 / 20.0) as f32;
    let second = (1.5 + 0.35 + 1.0 + 0.1446 * 2f64.ln() + 0.0167 + 0.1) * RATE_HZ;
    let returned: Vec<f32> = (0..sent.len() + 9_600)
        .map(|n| sent.get(n).copied().unwrap_or(0.0) * if n < second as usize { 1.0 } else { gain })
        .collect();
    let result = bench.analyse::<Response>(&sent, &returned, None).unwrap();
    let dependence = value(&result, "level_dependence");
    println!("{dependence:?}");
    assert!((dependence[0] - 2.0).abs() < 0.001);
    assert!((value(&result, "gain")[0] + 2.0).abs() < 0.001);
}

#[test]
fn third_harmonic_of_1_percent_moves_nothing_but_the_fundamental_it_belongs_to() {
    let bench = Bench::of::<Response>("response", 48_000);
    let sent = bench.sent::<Response>();
    // y = x + a x^3 has the fundamental 1 + 3/4 a A^2 and the third harmonic a A^2 / 4.
    let a = 4.0;
    let bent: Vec<f32> = sent.iter().map(|&x| x + a * x.powi(3)).collect();
    let want_db = 20.0 * (1.0 + 0.75 * 4.0 * 0.01f64).log10();
    let result = bench.analyse::<Response>(&sent, &bent, None).unwrap();
    let curve = curve(&result, "magnitude");
    // Below 30 Hz the fade changes the amplitude, and so the fundamental; above 6 kHz the third
    // harmonic of what is above 14 kHz folds back to within half a second of the response.
    for (&f, &db) in curve
        .x
        .iter()
        .zip(&curve.y)
        .filter(|(f, _)| (30.0..6_000.0).contains(*f))
    {
        assert!(
            (db - want_db).abs() < 0.01,
            "{f} Hz: {db} dB, want {want_db}"
        );
    }
}

#[test]
fn smoothing_over_a_third_octave_is_the_power_mean_of_its_band() {
    let mut bench = Bench::of::<Response>("response", 48_000);
    bench.insert("smoothing", Kind::StringValue("1/3".to_owned()));
    let sent = bench.sent::<Response>();
    let form = bell(1_000.0, 10.0, 0.1);
    let returned = through(&sent, RATE_HZ, 48_000, &form);
    let result = bench.analyse::<Response>(&sent, &returned, None).unwrap();
    let curve = curve(&result, "magnitude");
    for index in (100..900).step_by(50) {
        let mean: f64 = (0..4_000)
            .map(|n| curve.x[index] * 10f64.powf(0.1 * ((f64::from(n) + 0.5) / 4_000.0 - 0.5)))
            .map(|f| form(f).norm_sqr() / 4_000.0)
            .sum();
        let off_db = curve.y[index] - 10.0 * mean.log10();
        assert!(off_db.abs() < 0.05, "{} Hz: {off_db} dB", curve.x[index]);
    }
}

#[test]
fn a_match_made_of_the_paths_leaves_the_link_alone() {
    let mut bench = Bench::of::<Response>("response", 48_000);
    bench.request.is_match = true;
    let sent = bench.sent::<Response>();
    let path = |f: f64| low_pass(25_000.0, 1)(f) * high_pass(10.0, 1)(f) * 1.3;
    let mut cable = sent.clone();
    cable.resize(sent.len() + 48_000, 0.0);
    let first = through(&sent, RATE_HZ, 48_000, |f| {
        path(f) * delayed(12.0, RATE_HZ)(f)
    });
    let result = bench
        .analyse::<Response>(&sent, &first, Some(&cable))
        .unwrap();
    let latency_ms = value(&result, "latency")[0];
    bench.request.is_match = false;
    bench.request.r#match = Some(Match {
        frequency_hz: curve(&result, "magnitude").x.clone(),
        gain_db: curve(&result, "magnitude").y.clone(),
        phase_degree: curve(&result, "phase").y.clone(),
        latency_ms,
    });
    let returned = through(&first, RATE_HZ, 0, form);
    let result = bench
        .analyse::<Response>(&sent, &returned, Some(&cable))
        .unwrap();
    let (off_db, at_hz) = worst_db(&result, &form);
    println!("{off_db} at {at_hz}");
    assert!(off_db < 0.01);
    assert!(!has_note(&result, "unmatched-paths"));
}

#[test]
fn a_recording_6_02_db_louder_moves_the_gain_by_6_02_db_and_nothing_else() {
    let bench = Bench::of::<Response>("response", 48_000).set("duration_s", 1.0);
    let sent = bench.sent::<Response>();
    let quiet = with_noise(&through(&sent, RATE_HZ, 48_000, form), 1e-5, 4);
    let loud: Vec<f32> = quiet.iter().map(|x| 2.0 * x).collect();
    let [quiet, loud] = [quiet, loud].map(|r| bench.analyse::<Response>(&sent, &r, None).unwrap());
    for (a, b) in quiet.figures.iter().zip(&loud.figures) {
        let moved = b.value.unwrap() - a.value.unwrap();
        let want = if a.id == "gain" {
            20.0 * 2f64.log10()
        } else {
            0.0
        };
        assert!((moved - want).abs() < 1e-6, "{} moved by {moved}", a.id);
        assert!(
            (a.uncertainty.unwrap() - b.uncertainty.unwrap()).abs() < 1e-6,
            "{}",
            a.id
        );
    }
}

#[test]
fn a_stop_too_high_for_the_rate_and_an_empty_band_are_both_named() {
    use goodwire_plugin_sdk::{OpenError, Plugin};
    let bench = Bench::of::<Response>("response", 44_100)
        .set("stop_hz", 21_000.0)
        .set("start_hz", 20_000.0);
    let Err(OpenError::Invalid(violations)) = Response::open(&bench.request) else {
        panic!("the parameters are wrong");
    };
    assert_eq!(violations.len(), 2);
    assert!(
        violations[0].text.contains("20286"),
        "{}",
        violations[0].text
    );
}

#[test]
fn hum_of_minus_50_dbfs_and_an_offset_of_1_percent_bend_nothing_that_is_not_told() {
    let bench = Bench::of::<Response>("response", 48_000);
    let sent = bench.sent::<Response>();
    let clean = through(&sent, RATE_HZ, 48_000, form);
    let hum =
        |n: usize| 0.003_16 * (std::f64::consts::TAU * 50.0 / RATE_HZ * n as f64).sin() + 0.01;
    let returned: Vec<f32> = (0..clean.len())
        .map(|n| (f64::from(clean[n]) + hum(n)) as f32)
        .collect();
    let result = bench.analyse::<Response>(&sent, &returned, None).unwrap();
    check_finite(&result);
    let curve = curve(&result, "magnitude");
    for ((&f, &db), &told) in curve.x.iter().zip(&curve.y).zip(&curve.y_uncertainty) {
        let off_db = db - 20.0 * form(f).norm().log10();
        assert!(
            off_db.abs() < 0.01 + 4.0 * told,
            "{f} Hz: {off_db} ± {told} dB"
        );
        assert!(f < 200.0 || off_db.abs() < 0.01, "{f} Hz: {off_db} dB");
    }
}

#[test]
fn unrelated_and_damaged_recordings_give_no_figure_but_their_reason() {
    let bench = Bench::of::<Response>("response", 48_000).set("duration_s", 1.0);
    let sent = bench.sent::<Response>();
    let count = sent.len() + 48_000;
    let id = |returned: &[f32]| {
        let failure = bench
            .analyse::<Response>(&sent, returned, None)
            .unwrap_err();
        assert!(failure.text.len() > 40, "{}", failure.text);
        failure.id
    };
    // Another sweep than ours; noise that swells like speech; a chord.
    let sweep = |n: usize| (2.0 * (n as f64 / 4_000.0).exp()).sin() * 0.3;
    let swell = |n: usize| (n as f64 / 3_000.0).sin().powi(4);
    let chord = |n: usize| {
        (1..8)
            .map(|k| (0.021 * f64::from(k) * n as f64).sin())
            .sum::<f64>()
            * 0.1
    };
    let of = |sound: &dyn Fn(usize) -> f64| -> Vec<f32> {
        (0..count).map(|n| sound(n) as f32).collect()
    };
    let silent = vec![0.0; count];
    let speech: Vec<f32> = with_noise(&silent, 0.1, 3)
        .iter()
        .enumerate()
        .map(|(n, &x)| x * swell(n) as f32)
        .collect();
    assert_eq!(id(&of(&sweep)), "unrelated");
    assert_eq!(id(&speech), "unrelated");
    assert_eq!(id(&of(&chord)), "unrelated");
    assert_eq!(id(&silent), "no-signal");
    for level in [0.099f32, 0.07, 0.02] {
        let cut: Vec<f32> = sent.iter().map(|x| x.clamp(-level, level)).collect();
        assert_eq!(id(&cut), "clipped", "cut at {level}");
        let coarse: Vec<f32> = cut
            .iter()
            .map(|x| (x * 32_768.0).round() / 32_768.0)
            .collect();
        assert_eq!(id(&coarse), "clipped", "cut at {level}, 16 bit");
    }
    let mut damaged = sent.clone();
    damaged[100_000] = f32::INFINITY;
    assert_eq!(id(&damaged), "not-finite");
    assert_eq!(id(&sent[..sent.len() / 2]), "too-short");
    assert_eq!(id(&sent[90_000..]), "too-short");
}
