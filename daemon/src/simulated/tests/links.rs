//! What a link and its paths do to the sound that they carry.

use super::*;

#[test]
fn a_cable_in_a_links_place_gives_back_what_is_played_and_changes_nothing_later() {
    let mut spec = wild_rig();
    spec.rig = RigSettings::default();
    spec.sends = Vec::new();
    spec.returns = vec![
        PathSettings {
            noise_dbfs: None,
            ..PathSettings::default()
        };
        5
    ];
    let sound = beats();
    let half = sound.len() / 2;
    let at = half as u64;
    let run = |cabled: &[usize]| {
        let mut interface = SimulatedInterface::new(&spec);
        interface.plug_cables(cabled);
        let mut heard = vec![Vec::new(); 5];
        for (frame, block, plugged) in [(0, &sound[..half], cabled), (at, &sound[half..], &[])] {
            interface.plug_cables(plugged);
            let report = interface.exchange(frame, &[block; 5], &mut heard, Duration::ZERO);
            report.expect("the device is there");
        }
        heard
    };
    let (links, cable) = (run(&[]), run(&[0]));
    assert_eq!(cable[0][..half], sound[..half]);
    assert_eq!(cable[0][half..], links[0][half..]);
    assert_eq!(cable[1..], links[1..]);
}

#[test]
fn a_wire_of_a_link_gives_back_what_is_played() {
    let sound = beats();
    let heard = play_on(&quiet_rig(wire()), &sound);
    assert_eq!(heard, [sound.clone(), sound]);
}

#[test]
fn a_fractional_delay_is_heard_to_1e_5_frames() {
    // 100.3 frames; phase of a 5 kHz tone against the cable's.
    let settings = LinkSettings {
        delay_ms: 100.3 / 48.0,
        ..wire()
    };
    let heard = play_on(&quiet_rig(settings), &sine(5000.0, 0.5, 48_000));
    let phase = |sound: &[f32]| {
        let (re, im) = amplitude(sound, 5000.0, 9600);
        im.atan2(re)
    };
    let cycles = ((phase(&heard[1]) - phase(&heard[0])) / TAU).rem_euclid(1.0);
    // 5 kHz has 9.6 frames a period: 100.3 frames are 10 periods and 4.3 frames.
    let frames = 96.0 + cycles * 9.6;
    assert!(
        (frames - 100.3).abs() < 1e-5,
        "got {frames} frames, want 100.3"
    );
}

#[test]
fn latency_counts_the_filters_own_delay_in() {
    // First order at 16 kHz: by hand from the phase -atan(Ω/Ωc), fitted as the definition says.
    let settings = LinkSettings {
        high_corner_hz: 16_000.0,
        filter_order: 1,
        delay_ms: 4.0,
        ..wire()
    };
    let warp = |hz: f64| (0.5 * TAU * hz / 48_000.0).tan();
    let (mut products, mut squares) = (0.0, 0.0);
    for k in 0..100_000 {
        let hz = 1000.0 * 10_f64.powf((f64::from(k) + 0.5) / 1e5);
        products += (warp(hz) / warp(16_000.0)).atan() * hz;
        squares += hz * hz;
    }
    let want_ms = 4.0 + 1000.0 * products / squares / TAU;
    let got_ms = settings.latency_ms(48_000.0);
    assert!(
        (got_ms - want_ms).abs() < 1e-6,
        "got {got_ms} ms, want {want_ms} ms"
    );
    assert!((wire().latency_ms(48_000.0)).abs() < 1e-12);
}

#[test]
fn clipping_and_polynomials_are_heard_with_the_thd_that_is_told() {
    // 997 Hz over a whole second: harmonics that fold back fall beside the first ten.
    let rate_hz = f64::from(RATE_HZ);
    for settings in [
        LinkSettings {
            hard_clip_dbfs: Some(-20.0),
            ..wire()
        },
        LinkSettings {
            soft_clip_dbfs: Some(-10.0),
            ..wire()
        },
        LinkSettings {
            polynomial: vec![0.02, -0.01, 0.004],
            ..wire()
        },
        LinkSettings {
            polynomial: vec![0.02, -0.01],
            high_corner_hz: 4000.0,
            filter_order: 3,
            delay_ms: 1.01,
            ..wire()
        },
    ] {
        let heard = play_on(
            &quiet_rig(settings.clone()),
            &sine(997.0, factor_of_db(-19.0), 96_000),
        );
        let strength = |harmonic: u32| {
            let (re, im) = amplitude(&heard[0], 997.0 * f64::from(harmonic), 48_000);
            re.hypot(im)
        };
        let power: f64 = (2..=10).map(|k| strength(k).powi(2)).sum();
        let got = 100.0 * power.sqrt() / strength(1);
        let want = settings.thd_percent(-19.0, 997.0, 20_000.0, rate_hz);
        let error_db = 20.0 * (got / want).log10();
        assert!(
            error_db.abs() < 0.001,
            "got {got} %, want {want} %: {settings:?}"
        );
    }
}

#[test]
fn a_skew_of_50_ppm_moves_a_tone_of_10_khz_by_half_a_hertz() {
    let heard = play_on(
        &quiet_rig(LinkSettings {
            skew_ppm: 50.0,
            ..wire()
        }),
        &sine(10_000.0, 0.5, 480_000),
    );
    // More samples of the same sound: the tone is lower by 1 / (1 + s).
    let phase = |end: usize| {
        let (re, im) = amplitude(&heard[0][..end], 10_000.0, 480);
        im.atan2(re) / TAU
    };
    // One period of the difference is 2 s.
    let turns = (phase(96_000) - phase(48_000)).rem_euclid(1.0) - 1.0;
    let got_ppm = -turns / 10_000.0 * 1e6;
    let want_ppm = 50.0 / (1.0 + 50e-6);
    assert!(
        (got_ppm - want_ppm).abs() < 0.001,
        "got {got_ppm} ppm, want {want_ppm} ppm"
    );
}

#[test]
fn noise_of_minus_60_dbfs_reads_minus_60_dbfs_on_links_and_returns() {
    let mut spec = quiet_rig(wire());
    spec.links[0].settings.noise_dbfs = Some(-60.0);
    spec.returns[1].noise_dbfs = Some(-60.0);
    let heard = play_on(&spec, &vec![0.0; 480_000]);
    // 4 standard errors: 4 · 4.34 dB · √(2 / 480,000).
    for sound in &heard {
        assert!(
            (level_dbfs(sound) + 60.0).abs() < 0.036,
            "got {} dBFS",
            level_dbfs(sound)
        );
    }
    assert_ne!(heard[0], heard[1]);
}

#[test]
fn paths_of_sends_and_returns_have_the_response_that_is_told() {
    let mut spec = quiet_rig(wire());
    let send = PathSettings {
        gain_db: -1.5,
        high_corner_hz: 18_000.0,
        ..PathSettings::default()
    };
    let back = PathSettings {
        gain_db: 2.0,
        low_corner_hz: 40.0,
        noise_dbfs: None,
        ..PathSettings::default()
    };
    (spec.sends, spec.returns) = (vec![send.clone(); 2], vec![back.clone(); 2]);
    for frequency_hz in [50.0, 1000.0, 15_000.0] {
        let heard = play_on(&spec, &sine(frequency_hz, 0.5, 96_000));
        let rate_hz = f64::from(RATE_HZ);
        let (sent, back) = (
            send.response(frequency_hz, rate_hz),
            back.response(frequency_hz, rate_hz),
        );
        for sound in heard {
            let (re, im) = amplitude(&sound, frequency_hz, 48_000);
            let (gain_db, phase) = (20.0 * (2.0 * re.hypot(im)).log10(), im.atan2(re));
            assert!((gain_db - sent.gain_db() - back.gain_db()).abs() < 1e-5);
            assert!((phase - sent.phase_radians - back.phase_radians).abs() < 1e-6);
        }
    }
}
