//! The interface: frames, xruns, ceilings, programme, and a device that goes away.

use super::*;

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
