//! Watching a link whose sound a carried player plays: found wherever it is, and followed.

use goodwire_dsp::{
    noise,
    watch::{Heard, LapseKind, Pilot, PlayerWatch, Watch},
};

const RATE_HZ: f64 = 48_000.0;
/// How well edges have to be found, in frames: 1.5 ms.
const EDGE: f64 = 0.0015 * RATE_HZ;
const SECONDS: usize = 700;

/// Third-order Lagrange interpolation, silence outside.
fn between(sent: &[f32], at: f64) -> f64 {
    let base = at.floor();
    let t = at - base;
    let x = |k: i64| {
        let place = usize::try_from(base as i64 + k).ok();
        place
            .and_then(|i| sent.get(i))
            .map_or(0.0, |x| f64::from(*x))
    };
    x(-1) * -t * (t - 1.0) * (t - 2.0) / 6.0
        + x(0) * (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0
        + x(1) * -(t + 1.0) * t * (t - 2.0) / 2.0
        + x(2) * (t + 1.0) * t * (t - 1.0) / 6.0
}

#[test]
fn a_player_that_starts_whenever_and_is_off_by_300_ppm_is_found_and_gaps_of_2_to_500_ms_with_it() {
    let mut sent = vec![0.0; SECONDS * 48_000];
    Pilot::new(RATE_HZ, -20.0, 1).render(0, &mut sent);
    // Seconds of the capture at which the player starts, ppm by which it is fast, gap in ms.
    for (start_s, ppm) in [
        (4.3, 300.0),
        (-107.1, -300.0),
        (1.7, 0.0),
        (-3.0, 100.0),
        (9.0, -100.0),
    ] {
        let count = (SECONDS - 120) * 48_000;
        let place = |n: usize| (n as f64 - start_s * RATE_HZ) * (1.0 + ppm * 1e-6);
        let noise = |n: usize| 1e-3 * noise::gaussian(3, n as u64);
        let carried = |n: usize| (-0.5 * between(&sent, place(n)) + noise(n)) as f32;
        let mut link: Vec<f32> = (0..count).map(carried).collect();
        let gaps: Vec<(usize, usize)> = (2..56)
            .map(|k| {
                let from = k * 480_000 + 12_345;
                let length_ms = 2.0 * 250f64.powf(noise::white(9, k as u64) / 2.0 + 0.5);
                (from, from + (48.0 * length_ms) as usize)
            })
            .collect();
        for &(from, to) in &gaps {
            for (sample, n) in link[from..to].iter_mut().zip(from..) {
                *sample = noise(n) as f32;
            }
        }
        let mut pilot = Pilot::new(RATE_HZ, -20.0, 1);
        let render = Box::new(move |first, samples: &mut [f32]| pilot.render(first, samples));
        let mut watch = PlayerWatch::new(RATE_HZ, render, sent.len() as u64);
        let mut lapses = Vec::new();
        for (k, block) in link.chunks(4096).enumerate() {
            watch.hear(&Heard {
                first_frame: 4096 * k as u64,
                link: block,
                reference: None,
            });
            lapses.extend(watch.take_lapses());
        }
        watch.close();
        lapses.extend(watch.take_lapses());
        assert_eq!(lapses.len(), gaps.len(), "{ppm} ppm: {lapses:?}");
        let mut worst = 0f64;
        for (lapse, &(from, to)) in lapses.iter().zip(&gaps) {
            assert_eq!(lapse.kind, LapseKind::Gap, "{lapse:?}");
            worst = worst.max((lapse.start_frame - from as f64).abs());
            worst = worst.max((lapse.start_frame + lapse.frame_count - to as f64).abs());
        }
        println!("{ppm} ppm: worst edge {:.2} ms", worst / 48.0);
        assert!(worst <= EDGE, "{ppm} ppm: an edge is {worst} frames off");
        // It is found within 10 s of its start, or of the capture's.
        let judged_s = watch.judged_frame_count() as f64 / RATE_HZ;
        let most_s = count as f64 / RATE_HZ - start_s.max(0.0);
        assert!((most_s - 10.0..=most_s).contains(&judged_s), "{judged_s} s");
    }
}

#[test]
fn a_player_whose_file_begins_with_a_wake_up_is_followed_within_4_s_of_its_pilot() {
    let wake_until = (6.0 * RATE_HZ) as usize;
    let pilot_from = (7.8 * RATE_HZ) as usize;
    let mut link = vec![0.0; 20 * 48_000];
    for (n, sample) in link[(4.5 * RATE_HZ) as usize..wake_until]
        .iter_mut()
        .enumerate()
    {
        *sample = (0.01 * noise::gaussian(4, n as u64)) as f32;
    }
    Pilot::new(RATE_HZ, -20.0, 1).render(0, &mut link[pilot_from..]);
    let mut pilot = Pilot::new(RATE_HZ, -20.0, 1);
    let render = Box::new(move |first, samples: &mut [f32]| pilot.render(first, samples));
    let mut watch = PlayerWatch::new(RATE_HZ, render, 1_800 * 48_000);
    for (k, block) in link.chunks(4096).enumerate() {
        watch.hear(&Heard {
            first_frame: 4096 * k as u64,
            link: block,
            reference: None,
        });
    }
    watch.close();
    let judged_s = watch.judged_frame_count() as f64 / RATE_HZ;
    println!("{judged_s:.2} s of 12.2 s were judged");
    assert!((8.2..=12.2).contains(&judged_s), "{judged_s} s");
    assert!(watch.take_lapses().is_empty());
}
