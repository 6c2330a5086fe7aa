//! Watching a link with noise: what is lost is found in its place, and nothing else is.
//!
//! The links here share nothing with the code under test but the pilot: their filters are plain
//! biquads, their delays whole frames or Lagrange interpolation of third order.

use goodwire_dsp::{
    noise,
    watch::{Heard, Lapse, LapseKind, NoiseWatch, Pilot, Watch},
};

const RATE_HZ: f64 = 48_000.0;
/// How well edges have to be found, in frames: 1.5 ms.
const EDGE: f64 = 0.0015 * RATE_HZ;

/// What a link does for a while.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Fault {
    Mute,
    Ramp,
    Repeat,
    Comfort,
}

struct Link {
    delay: usize,
    gain: f64,
    skew_ppm: f64,
    low_pass: f64,
    noise: f64,
    /// Bits of a crude coder; 0: none.
    bits: u32,
    /// Depth of slow changes of level, in dB, at 0.1 Hz.
    sway_db: f64,
}

const PLAIN: Link = Link {
    delay: 917,
    gain: -0.4,
    skew_ppm: 0.0,
    low_pass: 1.0,
    noise: 0.0,
    bits: 0,
    sway_db: 0.0,
};

fn pilot(count: usize) -> Vec<f32> {
    let mut samples = vec![0.0; count];
    Pilot::new(RATE_HZ, -20.0, 1).render(0, &mut samples);
    samples
}

impl Link {
    /// What comes back of `sent`, with faults from frame to frame of the return.
    fn carry(&self, sent: &[f32], faults: &[(Fault, usize, usize)], seed: u64) -> Vec<f32> {
        let mut smooth = 0.0;
        let mut back: Vec<f64> = (0..sent.len())
            .map(|n| {
                let at = n as f64 * (1.0 - self.skew_ppm * 1e-6) - self.delay as f64;
                smooth += self.low_pass * (between(sent, at) - smooth);
                let sway = self.sway_db * (n as f64 / RATE_HZ * 0.1 * std::f64::consts::TAU).sin();
                self.gain * smooth * 10f64.powf(sway / 20.0)
            })
            .collect();
        if self.bits > 0 {
            code(&mut back, self.bits);
        }
        for &(fault, from, to) in faults {
            spoil(&mut back, fault, from, to, seed);
        }
        let noisy = back.iter().enumerate();
        noisy
            .map(|(n, x)| (x + self.noise * noise::gaussian(seed, n as u64)) as f32)
            .collect()
    }
}

/// Third-order Lagrange interpolation.
fn between(sent: &[f32], at: f64) -> f64 {
    let base = at.floor();
    let t = at - base;
    let x = |k: i64| {
        let index = base as i64 + k;
        usize::try_from(index)
            .ok()
            .and_then(|i| sent.get(i))
            .map_or(0.0, |x| f64::from(*x))
    };
    x(-1) * -t * (t - 1.0) * (t - 2.0) / 6.0
        + x(0) * (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0
        + x(1) * -(t + 1.0) * t * (t - 2.0) / 2.0
        + x(2) * (t + 1.0) * t * (t - 1.0) / 6.0
}

/// Blocks of 5 ms, each quantised in steps of its own peak.
fn code(back: &mut [f64], bits: u32) {
    for block in back.chunks_mut(240) {
        let peak = block.iter().fold(1e-9_f64, |peak, x| peak.max(x.abs()));
        let step = peak / f64::from(1 << (bits - 1));
        block
            .iter_mut()
            .for_each(|x| *x = (*x / step).round() * step);
    }
}

fn spoil(back: &mut [f64], fault: Fault, from: usize, to: usize, seed: u64) {
    let before: Vec<f64> = back[from - 480..from].to_vec();
    let power = before.iter().map(|x| x * x).sum::<f64>() / 480.0;
    for n in from..to {
        back[n] = match fault {
            Fault::Mute => 0.0,
            // Half way down and up at the named edges, over 2.5 ms outside of each.
            Fault::Ramp => 0.0,
            Fault::Repeat => before[(n - from) % 480],
            Fault::Comfort => power.sqrt() * noise::gaussian(seed ^ 99, n as u64),
        };
    }
    if fault == Fault::Ramp {
        for k in 0..120 {
            let factor = 0.5 - k as f64 / 240.0;
            back[from - 1 - k] *= 1.0 - factor;
            back[to + k] *= 1.0 - factor;
        }
    }
}

fn watched(link: &[f32], cable: &[f32]) -> (NoiseWatch, Vec<Lapse>) {
    let mut watch = NoiseWatch::new(RATE_HZ);
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

fn uniform(seed: u64, n: u64) -> f64 {
    noise::white(seed, n) / 2.0 + 0.5
}

#[test]
fn gaps_of_2_to_500_ms_of_four_kinds_are_found_within_1_5_ms_and_none_is_invented() {
    let sent = pilot(48_000 * 150);
    for (fault, noise_rms) in [
        (Fault::Mute, 0.0),
        (Fault::Mute, 1e-3),
        (Fault::Ramp, 1e-3),
        (Fault::Repeat, 1e-3),
        (Fault::Comfort, 1e-3),
    ] {
        let mut faults = Vec::new();
        let mut at = 48_000 * 3;
        for n in 0.. {
            // A fade that is shorter turns before it is silent.
            let least_ms = if fault == Fault::Ramp { 5.0 } else { 2.0 };
            let length_ms = least_ms * (500.0_f64 / least_ms).powf(uniform(7, n));
            let to = at + (length_ms * 48.0) as usize;
            if to + 48_000 > sent.len() {
                break;
            }
            faults.push((fault, at, to));
            at = to + 12_000 + (uniform(8, n) * 48_000.0) as usize;
        }
        let link = Link {
            noise: noise_rms,
            ..PLAIN
        };
        let (_, lapses) = watched(&link.carry(&sent, &faults, 5), &sent);
        let (mut worst, mut missed) = (0.0_f64, 0);
        let kinds = |lapse: &&Lapse| matches!(lapse.kind, LapseKind::Gap | LapseKind::Concealed);
        for &(_, from, to) in &faults {
            let near = lapses
                .iter()
                .filter(kinds)
                .find(|lapse| (lapse.start_frame - from as f64).abs() < 4.0 * EDGE);
            match near {
                Some(lapse) => {
                    let end = lapse.start_frame + lapse.frame_count;
                    worst = worst.max((lapse.start_frame - from as f64).abs());
                    worst = worst.max((end - to as f64).abs());
                }
                None => missed += 1,
            }
        }
        let false_ones = lapses.len() - (faults.len() - missed);
        println!(
            "{fault:?}, noise {noise_rms}: {} gaps, {missed} missed, {false_ones} invented, worst edge {:.2} ms",
            faults.len(),
            worst / 48.0
        );
        assert_eq!((missed, false_ones), (0, 0), "{fault:?}: {lapses:?}");
        assert!(worst <= EDGE, "{fault:?}: an edge is {worst} frames off");
    }
}

#[test]
fn healthy_links_have_no_lapse_whatever_their_filters_clocks_levels_noise_and_coders() {
    let sent = pilot(48_000 * 60);
    for (name, link) in [
        ("plain", PLAIN),
        (
            "skew",
            Link {
                skew_ppm: 100.0,
                ..PLAIN
            },
        ),
        (
            "slow clock",
            Link {
                skew_ppm: -100.0,
                ..PLAIN
            },
        ),
        (
            "dull",
            Link {
                low_pass: 0.4,
                ..PLAIN
            },
        ),
        (
            "noisy",
            Link {
                noise: 0.1 * 0.4 * 0.0286,
                ..PLAIN
            },
        ),
        ("coder", Link { bits: 4, ..PLAIN }),
        (
            "level",
            Link {
                sway_db: 3.0,
                ..PLAIN
            },
        ),
        (
            "all",
            Link {
                skew_ppm: 50.0,
                low_pass: 0.5,
                noise: 5e-4,
                bits: 4,
                sway_db: 2.0,
                ..PLAIN
            },
        ),
    ] {
        let (watch, lapses) = watched(&link.carry(&sent, &[], 3), &sent);
        assert_eq!(lapses, [], "{name}");
        let judged_s = watch.judged_frame_count() as f64 / RATE_HZ;
        assert!((judged_s - 60.0).abs() < 0.1, "{name}: {judged_s} s");
    }
}

#[test]
fn a_link_that_is_up_to_8_ms_earlier_than_the_cable_is_watched_like_any_other() {
    let sent = pilot(48_000 * 60);
    // 150 ppm make 9 ms of a minute.
    let drifting = Link {
        delay: 48,
        skew_ppm: -150.0,
        ..PLAIN
    };
    let mut late = vec![0.0; 384];
    late.extend(&sent[..sent.len() - 384]);
    let plain = Link { delay: 0, ..PLAIN };
    for (name, link, cable) in [
        ("drifting", drifting.carry(&sent, &[], 3), &sent),
        ("8 ms early", plain.carry(&sent, &[], 3), &late),
    ] {
        let mut link = link;
        link[48_000 * 40..][..48 * 20].fill(0.0);
        let (watch, lapses) = watched(&link, cable);
        let [gap] = lapses[..] else {
            panic!("{name}: {lapses:?}")
        };
        assert!((gap.start_frame - 48_000.0 * 40.0).abs() < EDGE, "{name}");
        assert!((gap.frame_count - 48.0 * 20.0).abs() < EDGE, "{name}");
        let judged_s = watch.judged_frame_count() as f64 / RATE_HZ;
        assert!((judged_s - 60.0).abs() < 0.1, "{name}: {judged_s} s");
    }
}

#[test]
fn packets_that_are_repeated_while_the_link_is_learnt_are_told_and_nothing_else_is() {
    let sent = pilot(48_000 * 5);
    for n in 0..40 {
        // Within the first half second, and up to its end.
        let from = 4_800 + (uniform(11, n) * 12_000.0) as usize;
        let to = from + 480 + (uniform(12, n) * 9_000.0) as usize;
        let link = Link {
            noise: 1e-3,
            ..PLAIN
        };
        let link = link.carry(&sent, &[(Fault::Repeat, from, to)], n);
        let (_, lapses) = watched(&link, &sent);
        let [lapse] = lapses[..] else {
            panic!("{from} to {to}: {lapses:?}")
        };
        assert_eq!(lapse.kind, LapseKind::Concealed, "{from} to {to}");
        assert!((lapse.start_frame - from as f64).abs() < EDGE, "{lapse:?}");
        let length = (to - from) as f64;
        assert!((lapse.frame_count - length).abs() < EDGE, "{lapse:?}");
    }
}

#[test]
fn a_delay_that_steps_by_20_ms_40_times_is_40_shifts_and_nothing_else() {
    let sent = pilot(48_000 * 64);
    let late = Link {
        delay: PLAIN.delay + 960,
        noise: 1e-3,
        ..PLAIN
    };
    let early = Link {
        noise: 1e-3,
        ..PLAIN
    };
    let [mut link, early] = [late, early].map(|link| link.carry(&sent, &[], 3));
    let steps: Vec<usize> = (1..=40)
        .map(|n| 48_000 * 3 * n / 2 + (uniform(13, n as u64) * 12_000.0) as usize)
        .collect();
    for pair in steps.chunks(2) {
        link[pair[0]..pair[1]].copy_from_slice(&early[pair[0]..pair[1]]);
    }
    let (_, lapses) = watched(&link, &sent);
    assert_eq!(lapses.len(), steps.len(), "{lapses:?}");
    for (lapse, step) in lapses.iter().zip(steps) {
        assert_eq!(lapse.kind, LapseKind::Shift, "{lapses:?}");
        assert!((lapse.start_frame - step as f64).abs() < EDGE, "{lapse:?}");
    }
}

#[test]
fn a_step_of_the_delay_110_ms_after_lost_frames_is_a_shift_and_nothing_else() {
    let sent = pilot(48_000 * 6);
    let late = Link {
        delay: PLAIN.delay + 960,
        ..PLAIN
    };
    let [mut link, after] = [late, PLAIN].map(|link| link.carry(&sent, &[], 3));
    let (lost, step) = (48_000 * 3, 48_000 * 3 + 48 * 110);
    link[step..].copy_from_slice(&after[step..]);
    let mut watch = NoiseWatch::new(RATE_HZ);
    for range in [0..lost, lost + 256..sent.len()] {
        watch.hear(&Heard {
            first_frame: range.start as u64,
            link: &link[range.clone()],
            reference: Some(&sent[range]),
        });
    }
    watch.close();
    let lapses = watch.take_lapses();
    let [shift] = lapses[..] else {
        panic!("{lapses:?}")
    };
    assert_eq!(shift.kind, LapseKind::Shift);
    assert!((shift.start_frame - step as f64).abs() < EDGE, "{shift:?}");
}

#[test]
fn what_the_cable_lacks_too_is_not_the_links_fault() {
    let mut sent = pilot(48_000 * 20);
    let mut link = PLAIN.carry(&sent, &[], 3);
    for second in 4..18 {
        let range = second * 48_000..second * 48_000 + 48 * 5 * second;
        link[range.clone()].fill(0.0);
        sent[range].fill(0.0);
    }
    let (_, lapses) = watched(&link, &sent);
    assert_eq!(lapses, []);
}

#[test]
fn a_link_that_never_carries_anything_was_never_good_and_one_that_comes_late_has_one_gap() {
    let sent = pilot(48_000 * 30);
    let mut link = PLAIN.carry(&sent, &[], 3);
    link[..48_000 * 12].fill(0.0);
    let (watch, lapses) = watched(&link, &sent);
    assert!(watch.last_good_frame().is_some());
    assert_eq!(lapses.len(), 1, "{lapses:?}");
    let end = lapses[0].start_frame + lapses[0].frame_count;
    assert!((end - 48_000.0 * 12.0).abs() < EDGE, "{lapses:?}");
    let hiss: Vec<f32> = (0..sent.len() as u64)
        .map(|n| noise::white(4, n) as f32 * 0.01)
        .collect();
    let (watch, lapses) = watched(&hiss, &sent);
    assert_eq!((watch.last_good_frame(), lapses), (None, vec![]));
}

#[test]
fn a_delay_that_steps_by_5_ms_in_a_gap_of_100_ms_is_a_gap_and_a_shift() {
    let sent = pilot(48_000 * 20);
    let mut link = PLAIN.carry(&sent, &[], 3);
    let later = Link {
        delay: PLAIN.delay + 240,
        ..PLAIN
    }
    .carry(&sent, &[], 3);
    let from = 48_000 * 10;
    link[from..from + 4800].fill(0.0);
    link[from + 4800..].copy_from_slice(&later[from + 4800..]);
    let (_, lapses) = watched(&link, &sent);
    let kinds: Vec<LapseKind> = lapses.iter().map(|lapse| lapse.kind).collect();
    assert!(
        kinds.contains(&LapseKind::Shift) && kinds.contains(&LapseKind::Gap),
        "{lapses:?}"
    );
    assert_eq!(kinds.len(), 2, "{lapses:?}");
    let gap = lapses
        .iter()
        .find(|lapse| lapse.kind == LapseKind::Gap)
        .unwrap();
    assert!((gap.start_frame - from as f64).abs() < EDGE, "{gap:?}");
    assert!((gap.frame_count - 4800.0).abs() < 2.0 * EDGE, "{gap:?}");
}

#[test]
fn frames_that_the_interface_lost_are_no_lapse() {
    let sent = pilot(48_000 * 20);
    let link = PLAIN.carry(&sent, &[], 3);
    let mut watch = NoiseWatch::new(RATE_HZ);
    for (k, (link, cable)) in link.chunks(4096).zip(sent.chunks(4096)).enumerate() {
        if k % 50 != 49 {
            watch.hear(&Heard {
                first_frame: 4096 * k as u64,
                link,
                reference: Some(cable),
            });
        }
    }
    watch.close();
    assert_eq!(watch.take_lapses(), []);
}
