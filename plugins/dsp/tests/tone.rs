//! Watching a link with a steady tone: what is lost is found in its place, and nothing else is.

use std::f64::consts::TAU;

use goodwire_dsp::noise;
use goodwire_dsp::stimulus::Body;
use goodwire_dsp::watch::{Heard, Lapse, LapseKind, TonePilot, ToneWatch, Watch};

const RATE_HZ: f64 = 48_000.0;
const FREQ_HZ: f64 = 997.0;
/// How well edges have to be found, in frames: 1.5 ms.
const EDGE: f64 = 0.0015 * RATE_HZ;
/// The link is this much later than the cable, in frames.
const DELAY: f64 = 917.3;

fn cable(seconds: usize) -> Vec<f32> {
    let pilot = TonePilot::new(RATE_HZ, FREQ_HZ, -20.0, seconds * 48_000);
    (0..seconds * 48_000)
        .map(|n| pilot.sample(n) as f32)
        .collect()
}

/// The tone through a link on a clock `ppm` off, with noise; silent before it comes.
fn link(seconds: usize, ppm: f64, noise_rms: f64) -> Vec<f32> {
    let sample = |n: usize| {
        let at = (n as f64 - DELAY) * (1.0 + ppm * 1e-6);
        let tone = if at < 0.0 {
            0.0
        } else {
            -0.06 * (TAU * (FREQ_HZ * at / RATE_HZ).fract()).sin()
        };
        (tone + noise_rms * noise::gaussian(7, n as u64)) as f32
    };
    (0..seconds * 48_000).map(sample).collect()
}

fn watched(link: &[f32], cable: &[f32]) -> (ToneWatch, Vec<Lapse>) {
    let mut watch = ToneWatch::new(RATE_HZ, FREQ_HZ);
    let mut lapses = Vec::new();
    for (k, (link, cable)) in link.chunks(4096).zip(cable.chunks(4096)).enumerate() {
        watch.hear(&Heard {
            first_frame: 4096 * k as u64,
            link,
            reference: Some(cable),
        });
        lapses.extend(watch.take_lapses());
    }
    watch.close();
    lapses.extend(watch.take_lapses());
    (watch, lapses)
}

#[test]
fn mutes_of_2_to_500_ms_are_found_within_1_5_ms_whatever_the_clock() {
    let sent = cable(120);
    for (ppm, noise_rms) in [
        (0.0, 0.0),
        (100.0, 1e-3),
        (-100.0, 1e-3),
        (300.0, 4e-3),
        (-300.0, 4e-3),
    ] {
        let mut heard = link(120, ppm, noise_rms);
        let gaps: Vec<[usize; 2]> = (2..115)
            .map(|k| {
                let from = k * 48_000 + (noise::white(5, k as u64) * 9_000.0) as usize;
                let share = noise::white(6, k as u64) / 2.0 + 0.5;
                [from, from + (96.0 * 250f64.powf(share)) as usize]
            })
            .collect();
        for [from, to] in &gaps {
            for (n, x) in heard[*from..*to].iter_mut().enumerate() {
                *x = (noise_rms * noise::gaussian(8, n as u64)) as f32;
            }
        }
        let (_, lapses) = watched(&heard, &sent);
        let mut worst = 0.0_f64;
        for (lapse, gap) in lapses.iter().zip(&gaps) {
            let end = lapse.start_frame + lapse.frame_count;
            worst = worst.max((lapse.start_frame - gap[0] as f64).abs());
            worst = worst.max((end - gap[1] as f64).abs());
        }
        println!(
            "{ppm} ppm: {} gaps, {} lapses, worst edge {:.2} ms",
            gaps.len(),
            lapses.len(),
            worst / 48.0
        );
        assert!(
            lapses.iter().all(|one| one.kind == LapseKind::Gap),
            "{lapses:?}"
        );
        assert_eq!(lapses.len(), gaps.len(), "{lapses:?}");
        assert!(worst <= EDGE, "{ppm} ppm: an edge is {worst} frames off");
    }
}

#[test]
fn a_slip_of_2_frames_is_a_shift_and_one_of_half_a_cycle_too() {
    let sent = cable(30);
    for slip in [2.0, 24.0] {
        let mut heard = link(30, 50.0, 1e-3);
        let at = 15 * 48_000;
        for (n, x) in heard.iter_mut().enumerate().skip(at) {
            let place = (n as f64 - DELAY - slip) * (1.0 + 50e-6);
            *x = (-0.06 * (TAU * (FREQ_HZ * place / RATE_HZ).fract()).sin()) as f32;
        }
        let (_, lapses) = watched(&heard, &sent);
        assert_eq!(lapses.len(), 1, "{slip}: {lapses:?}");
        assert_eq!(lapses[0].kind, LapseKind::Shift, "{slip}");
        assert!(
            (lapses[0].start_frame - at as f64).abs() < 240.0,
            "{slip}: {lapses:?}"
        );
    }
}

#[test]
fn clicks_and_bursts_are_told_apart_from_gaps_by_what_is_added() {
    let sent = cable(40);
    let mut heard = link(40, 20.0, 1e-3);
    for second in [10, 20, 30] {
        heard[second * 48_000] += 0.5;
        for n in 0..960 {
            heard[second * 48_000 + 24_000 + n] += (0.1 * noise::gaussian(3, n as u64)) as f32;
        }
    }
    let (_, lapses) = watched(&heard, &sent);
    let kinds: Vec<LapseKind> = lapses.iter().map(|one| one.kind).collect();
    assert_eq!(
        kinds,
        [LapseKind::Click, LapseKind::Burst].repeat(3),
        "{lapses:?}"
    );
    for (one, second) in lapses.iter().step_by(2).zip([10.0, 20.0, 30.0]) {
        assert!(
            (one.start_frame - second * RATE_HZ).abs() <= EDGE,
            "{one:?}"
        );
    }
    for (one, second) in lapses.iter().skip(1).step_by(2).zip([10.5, 20.5, 30.5]) {
        assert!(
            (one.start_frame - second * RATE_HZ).abs() <= EDGE,
            "{one:?}"
        );
        assert!((one.frame_count - 960.0).abs() <= 2.0 * EDGE, "{one:?}");
    }
}

#[test]
fn healthy_links_have_no_lapse_whatever_their_clock_level_noise_and_coder() {
    let sent = cable(120);
    for seed in 0..8_u64 {
        let draw = |n: u64| noise::white(seed, n);
        let mut heard = link(120, 300.0 * draw(1), 0.002 * (1.0 + draw(2)));
        for (n, x) in heard.iter_mut().enumerate() {
            let sway_db = 3.0 * (TAU * n as f64 / RATE_HZ / 10.0).sin();
            *x *= 10f32.powf(sway_db as f32 / 20.0);
        }
        if seed % 2 == 1 {
            // A crude coder: blocks of 5 ms in steps of an eighth of their peak.
            for block in heard.chunks_mut(240) {
                let step = block.iter().fold(1e-9_f32, |peak, x| peak.max(x.abs())) / 8.0;
                block
                    .iter_mut()
                    .for_each(|x| *x = (*x / step).round() * step);
            }
        }
        let (watch, lapses) = watched(&heard, &sent);
        assert_eq!(lapses, [], "{seed}");
        let judged_s = watch.judged_frame_count() as f64 / RATE_HZ;
        assert!((119.0..=120.0).contains(&judged_s), "{judged_s}");
    }
}

#[test]
fn what_the_cable_lacks_too_is_not_the_links_and_silence_hum_and_noise_are_no_signal() {
    let mut sent = cable(20);
    let mut heard = link(20, 0.0, 1e-3);
    for second in 4..18 {
        sent[second * 48_000..second * 48_000 + 480 * second].fill(0.0);
        heard[second * 48_000 + 917..second * 48_000 + 917 + 480 * second].fill(0.0);
    }
    assert_eq!(watched(&heard, &sent).1, []);
    let sent = cable(20);
    let hum = |n: usize| (0.01 * (TAU * 1_000.0 * n as f64 / RATE_HZ).sin()) as f32;
    let hiss = |n: usize| 0.01 * noise::white(9, n as u64) as f32;
    for heard in [
        (0..sent.len()).map(hum).collect::<Vec<f32>>(),
        (0..sent.len()).map(hiss).collect(),
        vec![0.0; sent.len()],
    ] {
        let (watch, lapses) = watched(&heard, &sent);
        assert_eq!((watch.last_good_frame(), lapses), (None, vec![]));
    }
}

#[test]
fn a_link_that_comes_12_s_late_has_one_gap() {
    let sent = cable(30);
    let mut heard = link(30, 0.0, 1e-3);
    heard[..12 * 48_000].fill(0.0);
    let (_, lapses) = watched(&heard, &sent);
    assert_eq!(lapses.len(), 1, "{lapses:?}");
    let end = lapses[0].start_frame + lapses[0].frame_count;
    assert!((end - 12.0 * RATE_HZ).abs() <= EDGE, "{lapses:?}");
}
