//! The whole rig against what its settings say, heard through its interface.

use std::{f64::consts::TAU, time::Duration};

use proptest::prelude::*;

use super::{
    settings::{DropoutKind, LinkSettings, PathSettings, RigSettings},
    *,
};
use crate::audio::{Heard, Interface, Loss};

const RATE_HZ: u32 = 48_000;

/// One link from send 0 to return 0, a cable from 1 to 1, and no noise anywhere.
fn quiet_rig(settings: LinkSettings) -> RigSpec {
    let silent = PathSettings {
        noise_dbfs: None,
        ..PathSettings::default()
    };
    let mut spec = RigSpec::healthy(RATE_HZ, 1);
    spec.links[0].settings = LinkSettings {
        noise_dbfs: None,
        ..settings
    };
    spec.returns = vec![silent; 2];
    spec
}

/// A link that does nothing at all.
fn wire() -> LinkSettings {
    LinkSettings {
        delay_ms: 0.0,
        low_corner_hz: 0.0,
        noise_dbfs: None,
        ..LinkSettings::default()
    }
}

/// Plays the same on all sends, in blocks of these sizes in turn.
fn play(
    interface: &mut SimulatedInterface,
    sound: &[f32],
    sizes: &[usize],
) -> (Vec<Vec<f32>>, Vec<Heard>) {
    let shape = interface.shape().clone();
    let mut heard = vec![Vec::new(); shape.return_count];
    let mut reports = Vec::new();
    let mut at = 0;
    for &size in sizes.iter().cycle() {
        let block = &sound[at..sound.len().min(at + size)];
        if block.is_empty() {
            break;
        }
        let sends = vec![block; shape.send_count];
        let report = interface.exchange(at as u64, &sends, &mut heard, Duration::ZERO);
        reports.push(report.expect("the device is there"));
        at += block.len();
    }
    (heard, reports)
}

fn play_on(spec: &RigSpec, sound: &[f32]) -> Vec<Vec<f32>> {
    play(&mut SimulatedInterface::new(spec), sound, &[256]).0
}

fn sine(frequency_hz: f64, peak: f64, frame_count: usize) -> Vec<f32> {
    let step = TAU * frequency_hz / f64::from(RATE_HZ);
    (0..frame_count)
        .map(|n| (peak * (step * n as f64).cos()) as f32)
        .collect()
}

/// Complex amplitude at a frequency over the last `frame_count` frames, which hold whole periods.
fn amplitude(sound: &[f32], frequency_hz: f64, frame_count: usize) -> (f64, f64) {
    let step = TAU * frequency_hz / f64::from(RATE_HZ);
    let first = sound.len() - frame_count;
    let (mut re, mut im) = (0.0, 0.0);
    for (n, &x) in sound.iter().enumerate().skip(first) {
        re += f64::from(x) * (step * n as f64).cos();
        im -= f64::from(x) * (step * n as f64).sin();
    }
    (2.0 * re / frame_count as f64, 2.0 * im / frame_count as f64)
}

fn level_dbfs(sound: &[f32]) -> f64 {
    let power: f64 = sound.iter().map(|&x| f64::from(x).powi(2)).sum();
    10.0 * (2.0 * power / sound.len() as f64).log10()
}

/// A rig in which everything happens at once.
fn wild_rig() -> RigSpec {
    let mut spec = RigSpec::healthy(RATE_HZ, 4);
    let base = || LinkSettings {
        delay_ms: 3.456_789,
        high_corner_hz: 15_000.0,
        filter_order: 5,
        dropouts_per_minute: 300.0,
        hum_dbfs: Some(-60.0),
        ..LinkSettings::default()
    };
    spec.links[0].settings = LinkSettings {
        skew_ppm: -2000.0,
        hard_clip_dbfs: Some(-6.0),
        hears: "link-2".into(),
        dropout_kind: DropoutKind::Ramp,
        ..base()
    };
    spec.links[1].settings = LinkSettings {
        resync_jitter_ms: 0.4,
        resync_every_s: 0.1,
        idle_below_dbfs: Some(-40.0),
        idle_after_s: 0.05,
        wake_s: 0.02,
        polynomial: vec![0.01, 0.02],
        dropout_kind: DropoutKind::Repeat,
        ..base()
    };
    spec.links[2].settings = LinkSettings {
        soft_clip_dbfs: Some(-3.0),
        sway_db: 2.0,
        sway_s: 1.0,
        dropouts_at: vec![(0.1, 2.0), (0.3, 25.0)],
        ..base()
    };
    spec.links[2].send_index = 1;
    spec.sends = vec![
        PathSettings {
            high_corner_hz: 20_000.0,
            ..PathSettings::default()
        };
        2
    ];
    spec.returns = vec![
        PathSettings {
            low_corner_hz: 3.0,
            ..PathSettings::default()
        };
        5
    ];
    spec.rig = RigSettings {
        xrun_every_s: 0.2,
        xrun_frames: 300,
        programme_dbfs: Some(-50.0),
        ..RigSettings::default()
    };
    spec
}

/// Half a second of beats: sounds and silences.
fn beats() -> Vec<f32> {
    let mut sound = sine(997.0, 0.7, 48_000);
    sound
        .iter_mut()
        .enumerate()
        .filter(|(n, _)| n / 5000 % 2 == 1)
        .for_each(|(_, x)| *x = 0.0);
    sound
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]

    #[test]
    fn the_same_frames_are_heard_in_whatever_blocks_they_are_played(
        sizes in prop::collection::vec(1_usize..3000, 1..6),
    ) {
        let sound = beats();
        let (want, reports) = play(&mut SimulatedInterface::new(&wild_rig()), &sound, &[256]);
        let (got, other_reports) = play(&mut SimulatedInterface::new(&wild_rig()), &sound, &sizes);
        // At the end frames may be held back by an xrun.
        for (want, got) in want.iter().zip(&got) {
            let count = want.len().min(got.len());
            prop_assert!(count > 40_000);
            prop_assert!(want[..count].iter().zip(&got[..count])
                .all(|(a, b)| a.to_bits() == b.to_bits()));
        }
        let losses = |reports: &[Heard]| -> Vec<u64> {
            reports.iter().filter(|r| r.lost.is_some()).map(|r| r.first_frame).collect()
        };
        let (want, got) = (losses(&reports), losses(&other_reports));
        prop_assert!(want.len().abs_diff(got.len()) <= 1 && want.len() > 1);
        prop_assert!(want.iter().zip(&got).all(|(a, b)| a == b));
    }

    #[test]
    fn gain_delay_filters_and_polarity_are_heard_as_they_are_told(
        gain_db in -30.0_f64..6.0,
        delay_ms in 0.7_f64..20.0,
        low_corner_hz in 20.0_f64..500.0,
        high_corner_hz in 3000.0_f64..22_000.0,
        filter_order in 1_usize..=8,
        inverted: bool,
        bin in 2_u32..170,
    ) {
        let settings = LinkSettings {
            gain_db, delay_ms, low_corner_hz, high_corner_hz, filter_order, inverted, ..wire()
        };
        let frequency_hz = 100.0 * f64::from(bin);
        let heard = play_on(&quiet_rig(settings.clone()), &sine(frequency_hz, 0.5, 48_000));
        let (re, im) = amplitude(&heard[0], frequency_hz, 4800);
        let want = settings.response(frequency_hz, f64::from(RATE_HZ));
        let (want_re, want_im) =
            (want.factor * want.phase_radians.cos(), want.factor * want.phase_radians.sin());
        // The fraction's kernel is right to 1e-5, 32-bit samples to 6e-8.
        let error = (2.0 * re - want_re).hypot(2.0 * im - want_im);
        prop_assert!(error < 2e-5 * factor_of_db(gain_db) + 1e-6, "error {error}");
        // The cable beside it carries what is played, frame by frame.
        prop_assert_eq!(&heard[1], &sine(frequency_hz, 0.5, 48_000));
    }

    #[test]
    fn a_tone_6_02_db_louder_comes_back_6_02_db_louder_and_nothing_else(peak in 0.01_f64..0.5) {
        let spec = quiet_rig(LinkSettings { delay_ms: 1.2345, ..LinkSettings::default() });
        let soft = play_on(&spec, &sine(1000.0, peak, 4800));
        let loud: Vec<f32> = sine(1000.0, peak, 4800).iter().map(|x| 2.0 * x).collect();
        let loud = play_on(&spec, &loud);
        prop_assert!(soft[0].iter().zip(&loud[0]).all(|(a, b)| 2.0 * a == *b));
    }
}

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

#[test]
fn a_neighbour_is_heard_20_db_lower_and_links_that_share_a_return_add_up() {
    let mut spec = RigSpec::healthy(RATE_HZ, 2);
    spec.returns = vec![
        PathSettings {
            noise_dbfs: None,
            ..PathSettings::default()
        };
        3
    ];
    spec.links[0].settings = LinkSettings {
        hears: "link-2".into(),
        gain_db: -6.0,
        ..wire()
    };
    spec.links[1].settings = wire();
    let mut interface = SimulatedInterface::new(&spec);
    let tone = sine(1000.0, 0.5, 4800);
    let silence = vec![0.0; 4800];
    let mut heard = vec![Vec::new(); 3];
    let sends = [&silence[..], &tone[..], &silence[..]];
    interface
        .exchange(0, &sends, &mut heard, Duration::ZERO)
        .expect("it is there");
    let difference_db = level_dbfs(&heard[0]) - level_dbfs(&heard[1]);
    assert!(
        (difference_db + 26.0).abs() < 1e-5,
        "got {difference_db} dB"
    );
    assert!(heard[2].iter().all(|&x| x == 0.0));

    spec.links[1].return_index = 0;
    spec.links[0].settings = wire();
    let heard = play_on(&spec, &tone);
    assert!(heard[0].iter().zip(&tone).all(|(sum, x)| *sum == 2.0 * x));
}

#[test]
fn a_sleeping_link_is_silent_until_300_ms_after_the_first_sound() {
    let settings = LinkSettings {
        idle_below_dbfs: Some(-50.0),
        wake_s: 0.3,
        ..wire()
    };
    let heard = play_on(&quiet_rig(settings), &vec![0.1; 48_000]);
    let first = heard[0].iter().position(|&x| x != 0.0);
    assert_eq!(first, Some(14_400));
}

#[test]
fn dropouts_are_heard_where_the_link_says_that_they_are() {
    let mut spec = quiet_rig(LinkSettings {
        dropouts_per_minute: 60.0,
        ..wire()
    });
    spec.rig.seed = 9;
    let heard = play_on(&spec, &vec![0.5; 480_000]);
    let told: Vec<Dropout> = spec.links[0]
        .dropouts(9, RATE_HZ)
        .take_while(|dropout| dropout.end_frame() <= 480_000)
        .collect();
    assert!(told.len() >= 4, "got {} in 10 s", told.len());
    let missing = heard[0].iter().filter(|&&x| x == 0.0).count() as u64;
    assert_eq!(
        missing,
        told.iter().map(|dropout| dropout.frame_count).sum::<u64>()
    );
    for dropout in told {
        let range = dropout.first_frame as usize..dropout.end_frame() as usize;
        assert!(heard[0][range].iter().all(|&x| x == 0.0));
    }
}

#[test]
fn a_walk_beyond_10_m_brings_dropouts_where_the_link_says_and_none_before() {
    let settings = LinkSettings {
        walk: vec![(0.0, 1.0), (5.0, 10.0), (10.0, 20.0)],
        ..wire()
    };
    let spec = quiet_rig(settings);
    let heard = play_on(&spec, &vec![0.5; 480_000]);
    let told: Vec<Dropout> = spec.links[0]
        .dropouts(spec.rig.seed, RATE_HZ)
        .take_while(|dropout| dropout.end_frame() <= 480_000)
        .collect();
    // From 5 to 10 s the mean of (d/10)² - 1 is 4/3 a second, and 20/3 are expected: fewer than 2
    // come with a probability of 1 %.
    assert!(told.len() >= 2 && told[0].first_frame > 240_000, "{told:?}");
    for dropout in told {
        let range = dropout.first_frame as usize..dropout.end_frame() as usize;
        assert!(heard[0][range].iter().all(|&x| x == 0.0));
    }
}

#[test]
fn a_charge_of_1_s_leaves_the_receivers_noise_alone() {
    let settings = LinkSettings {
        runs_for_s: 1.0,
        ..wire()
    };
    let mut spec = quiet_rig(settings);
    spec.links[0].settings.noise_dbfs = Some(-60.0);
    let heard = play_on(&spec, &vec![0.5; 96_000]);
    let largest = heard[0][48_000..]
        .iter()
        .fold(0.0_f32, |a, x| a.max(x.abs()));
    // Gaussian noise of an RMS of 7.07e-4 stays below 6 of them.
    assert!(largest > 1e-4 && largest < 4.3e-3, "{largest}");
    assert!((heard[0][0] - 0.5).abs() < 4.3e-3);
}

#[test]
fn a_link_is_fed_by_the_send_and_heard_at_the_return_that_it_is_plugged_into() {
    let mut spec = RigSpec::healthy(RATE_HZ, 2);
    let plug = |fed_by, heard_at| LinkSettings {
        delay_ms: 0.0,
        fed_by,
        heard_at,
        noise_dbfs: None,
        low_corner_hz: 0.0,
        ..LinkSettings::default()
    };
    let loudest = |spec: &RigSpec| -> Vec<bool> {
        let heard = play_on(spec, &vec![0.5; 1000]);
        let is_loud = |sound: &Vec<f32>| sound.iter().any(|x| x.abs() > 0.1);
        heard.iter().map(is_loud).collect()
    };
    // All but the first send are turned down.
    let quiet = PathSettings {
        gain_db: -120.0,
        ..PathSettings::default()
    };
    spec.sends = vec![PathSettings::default(), quiet.clone(), quiet];
    spec.links[1].settings = plug(Some(1), None);
    spec.links[0].settings = plug(Some(0), None);
    assert_eq!(loudest(&spec), [false, true, false]);
    spec.links[0].settings = plug(None, Some(3));
    assert_eq!(loudest(&spec), [false, true, true]);
    spec.links[0].settings = plug(None, Some(0));
    assert_eq!(loudest(&spec), [false, true, false]);
}

#[test]
fn another_seed_gives_other_noise_and_the_same_seed_the_same() {
    let mut spec = RigSpec::healthy(RATE_HZ, 1);
    let first = play_on(&spec, &vec![0.0; 1000]);
    assert_eq!(first, play_on(&spec, &vec![0.0; 1000]));
    spec.rig.seed = 2;
    assert_ne!(first, play_on(&spec, &vec![0.0; 1000]));
}

#[test]
fn xruns_lose_exactly_256_frames_and_say_so() {
    let mut spec = quiet_rig(wire());
    spec.rig = RigSettings {
        xrun_every_s: 0.1,
        ..RigSettings::default()
    };
    // Every frame carries its own number, exact in 32 bits.
    let sound: Vec<f32> = (0..96_000_u32).map(|n| n as f32 / 131_072.0).collect();
    let mut interface = SimulatedInterface::new(&spec);
    let (heard, reports) = play(&mut interface, &sound, &[256]);
    let (mut at, mut expected, mut xruns) = (0, 0_u64, 0);
    for report in reports {
        if let Some(lost) = report.lost {
            assert_eq!(lost, Loss::Frames(256));
            expected += 256;
            xruns += 1;
        }
        if report.frame_count > 0 {
            assert_eq!(report.first_frame, expected);
        }
        for sample in &heard[0][at..at + report.frame_count] {
            assert_eq!((sample * 131_072.0) as u64, expected);
            expected += 1;
        }
        at += report.frame_count;
    }
    assert!(xruns > 5, "got {xruns} in 2 s");
    assert_eq!(interface.xrun_count(), xruns);
}

#[test]
fn listed_xruns_lose_the_frames_from_the_next_border_of_periods_on_and_no_others() {
    let mut spec = quiet_rig(wire());
    // 0.5 s are frame 24 000, and the next multiple of 256 is 24 064; 1 s is 48 000, then 48 128.
    spec.rig = RigSettings {
        xrun_every_s: 0.1,
        xruns_at_s: vec![0.5, 1.0],
        ..RigSettings::default()
    };
    let mut interface = SimulatedInterface::new(&spec);
    let (heard, reports) = play(&mut interface, &vec![0.5; 96_000], &[256]);
    let after = |report: &&Heard| report.lost.is_some();
    let begun: Vec<u64> = reports
        .iter()
        .filter(after)
        .map(|report| report.first_frame)
        .collect();
    assert_eq!(begun, [24_320, 48_384]);
    assert_eq!(heard[0].len(), 96_000 - 512);
}

#[test]
fn muted_sends_are_silent_from_the_next_block_on_and_it_is_confirmed() {
    let mut interface = SimulatedInterface::new(&quiet_rig(wire()));
    let mute = interface.mute();
    let (before, _) = play(&mut interface, &[0.5; 256], &[256]);
    assert_eq!(before[0], [0.5; 256]);
    mute.set(true);
    assert!(!mute.is_silent());
    let mut heard = vec![Vec::new(); 2];
    let report = interface.exchange(256, &[&[0.5; 100][..]; 2], &mut heard, Duration::ZERO);
    assert_eq!(report.expect("it is there").frame_count, 100);
    assert_eq!(heard[0], [0.0; 100]);
    assert!(mute.is_silent());
}

#[test]
fn what_is_above_a_ceiling_or_not_a_number_is_clamped_and_counted() {
    let mut interface = SimulatedInterface::new(&quiet_rig(wire()));
    interface.set_ceilings(&[0.25, 1.0]);
    let (heard, _) = play(&mut interface, &[0.2, -0.5, f32::NAN, f32::INFINITY], &[4]);
    assert_eq!(heard, [[0.2, -0.25, 0.0, 0.25], [0.2, -0.5, 0.0, 1.0]]);
    // The cable's send clamps the last two as well.
    assert_eq!(interface.clamped_count(), 3 + 2);
}

#[test]
fn the_device_vanishes_at_its_second_stays_away_and_comes_back_once() {
    let mut spec = quiet_rig(wire());
    spec.rig = RigSettings {
        vanish_at_s: 0.01,
        vanish_for_s: 0.2,
        ..RigSettings::default()
    };
    let rig = SimulatedRig::new(spec);
    let mut interface = rig.open().expect("it is there");
    let mut heard = vec![Vec::new(); 2];
    let mut exchange = |interface: &mut SimulatedInterface, at| {
        interface.exchange(at, &[&[0.5; 480][..]; 2], &mut heard, Duration::ZERO)
    };
    assert!(exchange(&mut interface, 0).is_ok());
    let error = exchange(&mut interface, 480).expect_err("it vanishes at frame 480");
    assert_eq!(
        error.to_string(),
        "the device simulated rig is gone: it vanished, as its configuration wants it"
    );
    assert!(rig.open().is_err());
    let started = Instant::now();
    let mut interface = loop {
        match rig.open() {
            Ok(interface) => break interface,
            Err(_) => std::thread::yield_now(),
        }
    };
    assert!(started.elapsed() < Duration::from_secs(2));
    for k in 0..10 {
        assert!(exchange(&mut interface, 480 * k).is_ok());
    }
}

#[test]
fn frames_that_do_not_follow_one_another_are_refused_with_both_numbers() {
    let mut interface = SimulatedInterface::new(&quiet_rig(wire()));
    let mut heard = vec![Vec::new(); 2];
    let mut exchange =
        |at| interface.exchange(at, &[&[0.0; 10][..]; 2], &mut heard, Duration::ZERO);
    assert_eq!(exchange(1000).expect("any start is good").first_frame, 1000);
    let error = exchange(1011).expect_err("1010 comes next");
    assert_eq!(
        error.to_string(),
        "frame 1011 was played where frame 1010 comes next"
    );
}

#[test]
fn waking_moves_the_delay_and_sleeping_again_moves_it_anew() {
    let settings = LinkSettings {
        delay_ms: 10.0,
        resync_jitter_ms: 5.0,
        idle_below_dbfs: Some(-50.0),
        idle_after_s: 0.1,
        wake_s: 0.02,
        ..wire()
    };
    // Awake from 40 ms on, a click at 60 ms; the same again half a second later.
    let mut sound = vec![0.0_f32; 48_000];
    for start in [0, 24_000] {
        sound[start + 960..start + 2000].fill(0.01);
        sound[start + 2880] = 1.0;
    }
    let heard = play_on(&quiet_rig(settings), &sound);
    let delays: Vec<usize> = [2880, 26_880]
        .map(|click| {
            let after = &heard[0][click..click + 2000];
            let loudest = |best: usize, n: usize| if after[n] > after[best] { n } else { best };
            (0..2000).fold(0, loudest)
        })
        .to_vec();
    assert!(
        delays.iter().all(|delay| (240..=720).contains(delay)),
        "got {delays:?} frames"
    );
    assert_ne!(delays[0], delays[1]);
    assert!(
        delays.iter().all(|&delay| delay != 480),
        "got {delays:?} frames"
    );
}

#[test]
fn a_programme_is_heard_alike_on_all_returns() {
    let mut spec = quiet_rig(wire());
    spec.rig.programme_dbfs = Some(-30.0);
    let heard = play_on(&spec, &vec![0.0; 48_000]);
    assert!((level_dbfs(&heard[0]) + 30.0).abs() < 1.0);
    assert_eq!(heard[0], heard[1]);
}

#[cfg(target_os = "linux")]
#[test]
fn eight_links_compute_at_least_50_times_as_fast_as_real_time_on_one_core() {
    // Time that this thread had a core, so that a busy machine does not count.
    let core_s = || {
        let text = std::fs::read_to_string("/proc/thread-self/schedstat").expect("it is Linux");
        let ns: f64 = text
            .split(' ')
            .next()
            .and_then(|ns| ns.parse().ok())
            .expect("ns on a core");
        ns / 1e9
    };
    let mut interface = SimulatedInterface::new(&RigSpec::healthy(RATE_HZ, 8));
    let sound = sine(997.0, 0.5, 480_000);
    let started_s = core_s();
    play(&mut interface, &sound, &[4096]);
    let ratio = 10.0 / (core_s() - started_s);
    assert!(ratio >= 50.0, "got {ratio:.0} x real time");
}
