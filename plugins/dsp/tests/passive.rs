//! Watching programme without a pilot: mutes, clicks, flat tops and lost level are found, and
//! nothing in healthy programme is taken for one.

mod programme;

use goodwire_dsp::noise;
use goodwire_dsp::watch::{Heard, Lapse, LapseKind, PassiveWatch, Watch};
use programme::{RATE_HZ, programme};

/// The link is this much later than the cable, in frames.
const DELAY: usize = 1_500;
/// How well edges have to be found, in frames: 1.5 ms.
const EDGE: f64 = 0.0015 * RATE_HZ;

fn carried(sent: &[f32]) -> Vec<f32> {
    let mut link = vec![0.0; sent.len()];
    for (n, x) in sent[..sent.len() - DELAY].iter().enumerate() {
        link[n + DELAY] = 0.5 * x;
    }
    link
}

fn watched(link: &[f32], cable: Option<&[f32]>) -> (PassiveWatch, Vec<Lapse>) {
    let mut watch = PassiveWatch::new(RATE_HZ, cable.is_some());
    let mut lapses = Vec::new();
    for (k, piece) in link.chunks(4096).enumerate() {
        let from = 4096 * k;
        watch.hear(&Heard {
            first_frame: from as u64,
            link: piece,
            reference: cable.map(|cable| &cable[from..from + piece.len()]),
        });
        lapses.extend(watch.take_lapses());
    }
    watch.close();
    lapses.extend(watch.take_lapses());
    (watch, lapses)
}

fn of(kind: LapseKind, lapses: &[Lapse]) -> Vec<Lapse> {
    lapses
        .iter()
        .copied()
        .filter(|one| one.kind == kind)
        .collect()
}

/// Frames where sound stands 30 ms before and after, one in each of some seconds.
fn loud_places(link: &[f32], every: usize) -> Vec<usize> {
    let power = |from: usize, to: usize| {
        link[from..to]
            .iter()
            .map(|x| f64::from(*x).powi(2))
            .sum::<f64>()
            / (to - from) as f64
    };
    let ms = |ms: usize| 48 * ms;
    (1..link.len() / every - 1)
        .filter_map(|k| {
            let mut places = (k * every..(k + 1) * every).step_by(480);
            places.find(|&at| {
                (-4..4).all(|n: i64| {
                    let from = (at as i64 + n * ms(8) as i64) as usize;
                    power(from, from + ms(8)) > 2e-5
                })
            })
        })
        .collect()
}

/// Silences the link at its loud places for 2 to 300 ms; gives first and last frame of each.
fn muted(link: &mut [f32], seed: u64) -> Vec<[f64; 2]> {
    let places = loud_places(link, 96_000);
    assert!(places.len() > 40, "{}", places.len());
    let mute = |(k, at): (u64, usize)| {
        let share = noise::white(seed, k) / 2.0 + 0.5;
        let to = at + (96.0 * 150f64.powf(share)) as usize;
        link[at..to].fill(0.0);
        [at as f64, to as f64]
    };
    (0..).zip(places).map(mute).collect()
}

#[test]
fn mutes_of_2_to_300_ms_in_speech_and_music_are_found_within_1_5_ms_and_nothing_else_is() {
    for seed in [0, 1] {
        let sent = programme(180, seed);
        let mut link = carried(&sent);
        let mutes = muted(&mut link, seed);
        let (watch, found) = watched(&link, None);
        let (mut worst, mut missed) = (0.0_f64, 0);
        for [from, to] in &mutes {
            let near = found
                .iter()
                .find(|one| (one.start_frame - from).abs() < 480.0);
            match near {
                Some(one) => {
                    assert_eq!(one.kind, LapseKind::Gap, "{one:?}");
                    let end = one.start_frame + one.frame_count;
                    worst = worst
                        .max((one.start_frame - from).abs())
                        .max((end - to).abs());
                }
                None => missed += 1,
            }
        }
        println!(
            "seed {seed}: {} mutes, {missed} missed, {} lapses, worst edge {:.2} ms",
            mutes.len(),
            found.len(),
            worst / 48.0
        );
        assert_eq!((missed, found.len()), (0, mutes.len()), "{found:?}");
        assert!(worst <= EDGE, "an edge is {worst} frames off");
        assert!(watch.last_good_frame().is_some());
    }
}

#[test]
fn beside_a_cable_mutes_are_found_too_and_what_the_cable_pauses_is_not_counted_in() {
    for seed in [0, 1] {
        let sent = programme(180, seed);
        let mut link = carried(&sent);
        let mutes = muted(&mut link, seed);
        let (watch, found) = watched(&link, Some(&sent));
        assert!(watch.last_good_frame().is_some());
        let starts = |one: &&[f64; 2]| {
            let near = |lapse: &&Lapse| (lapse.start_frame - one[0]).abs() <= EDGE;
            found.iter().any(|lapse| near(&lapse))
        };
        let inside = |one: &&Lapse| {
            let end = one.start_frame + one.frame_count;
            let within = |[from, to]: &[f64; 2]| one.start_frame >= from - EDGE && end <= to + EDGE;
            mutes.iter().any(within)
        };
        let (hits, insides) = (
            mutes.iter().filter(starts).count(),
            found.iter().filter(inside).count(),
        );
        println!(
            "seed {seed}: {} mutes, {hits} found, {} lapses, {insides} within a mute",
            mutes.len(),
            found.len()
        );
        // It has to be found in the cable first: twice: not the mutes of the first 6 s.
        let early = mutes.iter().filter(|mute| mute[0] < 6.0 * RATE_HZ).count();
        assert!(hits + early >= mutes.len(), "{found:?}");
        assert_eq!(insides, found.len(), "{found:?}");
    }
}

#[test]
fn what_the_cable_lacks_too_is_not_the_links_and_without_a_cable_it_is() {
    let mut sent = programme(120, 2);
    let mutes = muted(&mut sent, 9);
    let link = carried(&sent);
    assert_eq!(watched(&link, Some(&sent)).1, []);
    assert_eq!(watched(&link, None).1.len(), mutes.len());
}

#[test]
fn clicks_in_programme_are_found_and_those_of_the_cable_are_not_the_links() {
    let sent = programme(120, 4);
    let mut link = carried(&sent);
    let mut cable = sent.clone();
    let places: Vec<usize> = (5..110)
        .step_by(5)
        .map(|second| second * 48_000 + 777)
        .collect();
    for &at in &places {
        link[at] += 0.5;
    }
    let all = of(LapseKind::Click, &watched(&link, None).1);
    assert_eq!(all.len(), places.len(), "{all:?}");
    for (one, &at) in all.iter().zip(&places) {
        assert!((one.start_frame - at as f64).abs() < 48.0, "{one:?}");
    }
    for &at in &places[..10] {
        cable[at - DELAY] += 0.5;
    }
    let own = of(LapseKind::Click, &watched(&link, Some(&cable)).1);
    assert_eq!(own.len(), places.len() - 10, "{own:?}");
}

#[test]
fn flat_tops_are_clipping_and_where_the_programme_came_clipped_they_are_not_the_links() {
    let sent = programme(60, 0);
    let link: Vec<f32> = carried(&sent)
        .iter()
        .map(|x| x.clamp(-0.05, 0.05))
        .collect();
    let found = of(LapseKind::Clipped, &watched(&link, None).1);
    let covers = |n: usize| {
        let frame = n as f64;
        found
            .iter()
            .any(|one| (one.start_frame..=one.start_frame + one.frame_count).contains(&frame))
    };
    // Tops of 0.1 ms and more are all among them.
    let is_top = |n: &usize| link[*n..n + 5].iter().all(|x| x.abs() > 0.049_99);
    let tops: Vec<usize> = (0..link.len() - 5).filter(is_top).collect();
    assert!(tops.len() > 100, "{}", tops.len());
    assert!(tops.iter().all(|&n| covers(n)), "{found:?}");
    let cable: Vec<f32> = sent.iter().map(|x| x.clamp(-0.1, 0.1)).collect();
    assert_eq!(
        of(
            LapseKind::Clipped,
            &watched(&carried(&cable), Some(&cable)).1
        ),
        []
    );
    assert_eq!(
        of(LapseKind::Clipped, &watched(&carried(&sent), None).1),
        []
    );
}

#[test]
fn a_link_that_sags_by_14_db_for_10_s_lost_level_and_programme_that_gets_softer_did_not() {
    let sent = programme(90, 3);
    let mut link = carried(&sent);
    for (n, x) in link.iter_mut().enumerate().skip(40 * 48_000).take(480_000) {
        // Over half a second down and up, as a hand on the fader would.
        let edge = (n - 40 * 48_000).min(50 * 48_000 - n) as f32 / 24_000.0;
        *x *= 1.0 - 0.8 * edge.min(1.0);
    }
    let faint = watched(&link, Some(&sent)).1;
    assert_eq!(faint.len(), 1, "{faint:?}");
    assert_eq!(faint[0].kind, LapseKind::Faint);
    assert!(
        (faint[0].start_frame - 40.0 * RATE_HZ).abs() <= RATE_HZ,
        "{faint:?}"
    );
    assert!(
        (faint[0].frame_count - 480_000.0).abs() <= 2.0 * RATE_HZ,
        "{faint:?}"
    );
    let softer: Vec<f32> = sent.iter().map(|x| 0.2 * x).collect();
    assert_eq!(watched(&carried(&softer), Some(&softer)).1, []);
}

#[test]
fn hiss_and_silence_are_no_signal_and_a_programme_that_stops_for_good_is_no_gap() {
    let hiss: Vec<f32> = (0..960_000)
        .map(|n| 1e-3 * noise::white(5, n) as f32)
        .collect();
    for link in [vec![0.0; 960_000], hiss] {
        let (watch, lapses) = watched(&link, None);
        assert_eq!((watch.last_good_frame(), lapses), (None, vec![]));
    }
    let mut link = carried(&programme(60, 2));
    let at = loud_places(&link, 96_000)[10];
    link[at..].fill(0.0);
    let (watch, lapses) = watched(&link, None);
    assert_eq!(lapses, []);
    assert!(
        watch
            .stopped_at()
            .is_some_and(|frame| (frame - at as f64).abs() < EDGE)
    );
}
