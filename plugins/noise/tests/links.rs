//! Links whose noise is known in closed form.

mod common;

use common::*;
use goodwire_dsp::{noise::gaussian, weighting};
use goodwire_plugin_sdk::payload::Match;
use goodwire_plugin_sdk::payload::open_request::Mode;
use std::f64::consts::TAU;

#[test]
fn white_noise_of_1e_4_reads_its_closed_form_under_every_weighting_within_0_1_db() {
    let mut rig = Rig::new(RATE_HZ, 10.0);
    rig.bench.request.clip_point_dbfs = Some(-6.0);
    let result = rig.run(|_| 0.0);
    let flat_dbfs = white_dbfs(1e-4, RATE_HZ);
    near(&result, "noise", flat_dbfs, 0.05);
    // Numerical integrals of the analytic curves over 20 Hz to 20 kHz (SciPy): white noise.
    near(&result, "noise_a", flat_dbfs - 2.048, 0.05);
    near(&result, "noise_ccir_rms", flat_dbfs + 1.671, 0.05);
    // Mean of 150 simulated readings of 10 s (NumPy): 4.28 dB above the RMS value, which is 5.629 dB
    // above that of CCIR-RMS.
    near(&result, "noise_468", flat_dbfs + 7.301 + 4.28, 0.2);
    near(&result, "dynamic_range_a", -6.0 - flat_dbfs + 2.048, 0.1);
    near(
        &result,
        "dynamic_range_ccir_rms",
        -6.0 - flat_dbfs - 1.671,
        0.1,
    );
    near(&result, "reference_noise", white_dbfs(1e-6, RATE_HZ), 0.05);
    near(
        &result,
        "reference_dynamic_range_a",
        -white_dbfs(1e-6, RATE_HZ) + 2.048,
        0.1,
    );
    assert!(has_note(&result, "no-hum") && !has_note(&result, "unsteady-noise"));
    assert!(!has_note(&result, "no-clip-point") && !has_note(&result, "noise-with-signal"));
    assert!(!has_note(&result, "at-reference-noise"));
    let spectrum = curve(&result, "noise_spectrum");
    assert_eq!(spectrum.x.len(), 31);
    for (index, (&middle_hz, &level_dbfs)) in spectrum.x.iter().zip(&spectrum.y).enumerate() {
        // A band is 0.23077 of its midband wide.
        let want_dbfs = 10.0 * (2e-8 * 0.230_77 * middle_hz / 24_000.0).log10();
        let told = spectrum.y_uncertainty[index];
        assert!(
            (level_dbfs - want_dbfs).abs() < 4.0 * told + 0.01,
            "{middle_hz} Hz"
        );
        // Bendat and Piersol: 4.343 / sqrt(B T), and 3 % for the window.
        let bound = 4.343 / (0.230_77 * middle_hz * 10.0).sqrt();
        assert!(
            (0.6..1.6).contains(&(told / bound)),
            "{middle_hz} Hz: {told}, bound {bound}"
        );
    }
}

#[test]
fn a_weighting_of_tones_is_the_analytic_curve_within_0_05_db_at_44_1_to_192_khz() {
    let mut worst = 0f64;
    for rate_hz in [44_100.0, 48_000.0, 96_000.0, 192_000.0] {
        // The curve is so steep at 20 Hz that a second's resolution is too coarse there.
        let rigs = [4.0, 1.0].map(|duration_s| Rig {
            noise: 1e-9,
            reference_noise: 1e-9,
            ..Rig::new(rate_hz, duration_s)
        });
        for tone_hz in [
            20.0, 63.0, 250.0, 1_000.0, 4_000.0, 8_000.0, 12_500.0, 16_000.0,
        ] {
            let rig = &rigs[usize::from(tone_hz > 100.0)];
            let result = rig.run(|t| 1e-2 * (TAU * tone_hz * t).sin());
            let want_dbfs = -40.0 + 20.0 * weighting::a(tone_hz).log10();
            let off_db = value(&result, "noise_a")[0] - want_dbfs;
            worst = worst.max(off_db.abs());
            assert!(
                off_db.abs() < 0.05,
                "{rate_hz} Hz, {tone_hz} Hz: {off_db} dB"
            );
        }
    }
    println!("worst {worst} dB");
}

#[test]
fn levels_are_referred_to_the_send_and_8_db_more_at_both_returns_changes_nothing() {
    let mut rig = Rig::new(RATE_HZ, 2.0);
    let before = rig.run(|_| 0.0);
    rig.gain = 10f64.powf(0.4);
    let after = rig.run(|_| 0.0);
    for (a, b) in before.figures.iter().zip(&after.figures) {
        assert_eq!(a.id, b.id);
        assert!(
            (a.value.unwrap() - b.value.unwrap()).abs() < 1e-3,
            "{a:?} {b:?}"
        );
    }
}

#[test]
fn noise_6_02_db_louder_moves_the_levels_by_6_02_db_and_a_link_of_14_db_gain_its_range() {
    let mut rig = Rig::new(RATE_HZ, 2.0);
    rig.reference_noise = 1e-8;
    let before = rig.run(|_| 0.0);
    rig.noise *= 2.0;
    let after = rig.run(|_| 0.0);
    let step_db = 20.0 * 2f64.log10();
    for id in ["noise", "noise_a", "noise_468", "noise_ccir_rms"] {
        near(&after, id, value(&before, id)[0] + step_db, 1e-3);
    }
    near(
        &after,
        "dynamic_range_a",
        value(&before, "dynamic_range_a")[0] - step_db,
        // The noise moves the tone's own level by as much as 0.01 dB.
        0.02,
    );
    // The same noise behind 14 dB of gain: the level stays, the clip point at the send stands
    // 14 dB higher above it.
    rig.link_gain = 10f64.powf(0.7);
    let gained = rig.run(|_| 0.0);
    near(&gained, "noise", value(&after, "noise")[0], 1e-3);
    near(
        &gained,
        "dynamic_range_a",
        value(&after, "dynamic_range_a")[0] + 14.0,
        0.02,
    );
}

#[test]
fn interface_noise_15_db_below_is_subtracted_and_6_db_below_makes_bounds() {
    let mut rig = Rig::new(RATE_HZ, 5.0);
    // The link's return hears the interface's noise too.
    let interface = 1e-4 * 10f64.powf(-0.75);
    rig.noise = 1e-4f64.hypot(interface);
    rig.reference_noise = interface;
    let result = rig.run(|_| 0.0);
    near(&result, "noise", white_dbfs(1e-4, RATE_HZ), 0.06);
    assert!(!has_note(&result, "at-reference-noise"));
    rig.reference_noise = 1e-4 * 10f64.powf(-0.3);
    rig.noise = 1e-4f64.hypot(rig.reference_noise);
    let result = rig.run(|_| 0.0);
    // The link's own lies between what is left without the interface's and all that was heard.
    let noise = result.figures.iter().find(|figure| figure.id == "noise");
    let noise = noise.unwrap();
    let off_db = noise.value.unwrap() - white_dbfs(rig.noise, RATE_HZ);
    assert!(off_db.abs() < 0.06, "{noise:?}");
    let truth = white_dbfs(1e-4, RATE_HZ);
    assert!(
        (truth - 0.1..truth).contains(&noise.low.unwrap()),
        "{noise:?}"
    );
    assert!(noise.high.unwrap() > noise.value.unwrap() && noise.uncertainty.is_none());
    let note = result
        .notes
        .iter()
        .find(|note| note.id == "at-reference-noise");
    let text = &note.expect("it is a bound").text;
    for id in [
        "noise,",
        "noise_a",
        "noise_468",
        "dynamic_range_a",
        "31 bands",
    ] {
        assert!(text.contains(id), "{id}: {text}");
    }
}

#[test]
fn match_of_1_5_db_and_unmatched_hardware_of_0_5_db_are_counted() {
    let mut rig = Rig::new(RATE_HZ, 2.0);
    let before = rig.run(|_| 0.0);
    assert!(has_note(&before, "unmatched-paths"));
    rig.bench.request.r#match = Some(Match {
        frequency_hz: vec![20.0, 20_000.0],
        gain_db: vec![1.5, 1.5],
        phase_degree: vec![0.0, 0.0],
        latency_ms: 0.0,
    });
    let matched = rig.run(|_| 0.0);
    near(
        &matched,
        "noise_a",
        value(&before, "noise_a")[0] - 1.5,
        2e-3,
    );
    near(
        &matched,
        "noise_468",
        value(&before, "noise_468")[0] - 1.5,
        5e-3,
    );
    near(
        &matched,
        "dynamic_range_a",
        value(&before, "dynamic_range_a")[0],
        2e-3,
    );
    assert!(!has_note(&matched, "unmatched-paths"));
    rig.bench.request.r#match = None;
    rig.bench.request.set_mode(Mode::Live);
    let live = rig.run(|_| 0.0);
    assert!(value(&live, "noise")[1] >= 0.5 && value(&live, "dynamic_range_a")[1] < 0.1);
    rig.bench.request.simulated = true;
    assert!(value(&rig.run(|_| 0.0), "noise")[1] < 0.1);
}

#[test]
fn mains_of_49_98_hz_at_minus_80_dbfs_is_found_with_its_harmonics_and_a_whistle_apart() {
    let rig = Rig::new(RATE_HZ, 5.0);
    let made = [
        (49.98, -80.0),
        (149.94, -90.0),
        (999.6, -100.0),
        (15_625.0, -95.0),
    ];
    let result = rig.run(|t| {
        let line = |&(hz, dbfs): &(f64, f64)| 10f64.powf(dbfs / 20.0) * (TAU * hz * t).sin();
        made.iter().map(line).sum()
    });
    let found = lines(&result, "hum");
    println!("{found:?}");
    assert_eq!(found.len(), made.len());
    for ([hz, dbfs, told], (want_hz, want_dbfs)) in found.iter().zip(made) {
        assert!((hz - want_hz).abs() < 0.02, "{hz} Hz");
        assert!(
            (dbfs - want_dbfs).abs() < 4.0 * told + 0.01,
            "{hz} Hz: {dbfs} dBFS"
        );
    }
    assert!(lines(&result, "reference_hum").is_empty());
    let text = |id: &str| {
        result
            .notes
            .iter()
            .find(|note| note.id == id)
            .unwrap()
            .text
            .clone()
    };
    assert!(
        text("mains-hum").contains("mains of 49.98 Hz"),
        "{}",
        text("mains-hum")
    );
    assert!(text("mains-hum").contains("149.9 Hz, 999.6 Hz"));
    assert!(text("other-lines").ends_with("15625.0 Hz"));
}

#[test]
fn hum_that_the_cable_has_too_is_a_bound() {
    let rig = Rig::new(RATE_HZ, 2.0);
    let (mut link, mut reference) = rig.returns(|_| 0.0);
    for n in 0..link.len() {
        let hum = 1e-3 * (TAU * 60.0 * n as f64 / RATE_HZ).sin();
        link[n] += hum as f32;
        reference[n] += 0.7 * hum as f32;
    }
    let result = rig.analyse(&link, Some(&reference)).unwrap();
    assert_eq!(lines(&result, "hum").len(), 1);
    assert_eq!(lines(&result, "reference_hum").len(), 1);
    let bound = result
        .notes
        .iter()
        .find(|note| note.id == "at-reference-noise")
        .unwrap();
    assert!(bound.text.contains("hum at 60.0 Hz"), "{}", bound.text);
}

#[test]
fn quiet_links_show_no_line_in_25_measurements() {
    // 0.025 are expected; two would have a chance of 0.03 %.
    let mut rig = Rig::new(RATE_HZ, 1.0);
    let mut count = 0;
    for seed in 0..25 {
        rig.seed = 500 + seed;
        count += lines(&rig.run(|_| 0.0), "hum").len();
    }
    assert!(count < 2, "{count}");
}

#[test]
fn link_that_closes_when_idle_is_told_and_one_that_clicks_too() {
    let rig = Rig::new(RATE_HZ, 4.0);
    let [from_s, _] = rig.silence_s();
    let (mut link, reference) = rig.returns(|_| 0.0);
    let closed = ((from_s + 2.0) * RATE_HZ) as usize..((from_s + 3.9) * RATE_HZ) as usize;
    for sample in &mut link[closed] {
        *sample *= 0.03;
    }
    let result = rig.analyse(&link, Some(&reference)).unwrap();
    let note = result
        .notes
        .iter()
        .find(|note| note.id == "unsteady-noise")
        .unwrap();
    assert!(note.text.contains("mutes or closes"), "{}", note.text);
    assert!(value(&result, "noise")[1] > 0.3);

    let (mut link, reference) = rig.returns(|_| 0.0);
    let first = (from_s * RATE_HZ) as usize;
    for sample in &mut link[first - 24_000..] {
        *sample *= 0.1;
    }
    // The closing burst stays what it was.
    let burst = ((rig.silence_s()[1] - 0.1) * RATE_HZ) as usize;
    for sample in &mut link[burst..] {
        *sample *= 10.0;
    }
    let result = rig.analyse(&link, Some(&reference)).unwrap();
    assert!(has_note(&result, "noise-with-signal"), "{:?}", result.notes);

    let (mut link, reference) = rig.returns(|_| 0.0);
    for sample in &mut link[first + 48_000..first + 48_240] {
        *sample *= 200.0;
    }
    let result = rig.analyse(&link, Some(&reference)).unwrap();
    let note = result
        .notes
        .iter()
        .find(|note| note.id == "unsteady-noise")
        .unwrap();
    assert!(note.text.contains("clicks"), "{}", note.text);
}

#[test]
fn gate_that_swallows_the_tone_leaves_no_dynamic_range_and_says_so() {
    let rig = Rig::new(RATE_HZ, 1.0);
    let (mut link, reference) = rig.returns(|_| 0.0);
    let body = (0.56 * RATE_HZ) as usize..(4.2 * RATE_HZ) as usize;
    for (n, sample) in link[body].iter_mut().enumerate() {
        *sample = (1e-5 * gaussian(77, n as u64)) as f32;
    }
    let result = rig.analyse(&link, Some(&reference)).unwrap();
    assert!(has_note(&result, "tone-missing"), "{:?}", result.notes);
    assert!(
        result
            .figures
            .iter()
            .all(|figure| figure.id != "dynamic_range_a")
    );
    value(&result, "noise");
}

#[test]
fn digital_silence_has_no_level_and_says_so() {
    let mut rig = Rig::new(RATE_HZ, 1.0);
    rig.noise = 0.0;
    rig.reference_noise = 0.0;
    let result = rig.run(|_| 0.0);
    assert!(has_note(&result, "digital-silence"));
    for id in ["noise", "noise_a", "noise_468", "reference_noise"] {
        assert!(result.figures.iter().all(|figure| figure.id != id), "{id}");
    }
}
