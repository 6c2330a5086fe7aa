//! Neighbours whose hearing is known in closed form.

#[path = "../../dsp/tests/support/link.rs"]
mod link;

use goodwire_dsp::Complex64;
use goodwire_dsp::noise::gaussian;
use goodwire_plugin_crosstalk::Crosstalk;
use goodwire_plugin_sdk::api::{Curve, Figure};
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::plan::capture::Kind as CaptureKind;
use goodwire_plugin_sdk::payload::{OpenRequest, SessionResult};
use goodwire_plugin_sdk::{Block, Failure, Kind, Plugin};
use link::*;

const RATE_HZ: f64 = 48_000.0;

fn bench() -> Bench {
    let mut bench = Bench::of::<Crosstalk>("crosstalk", 48_000)
        .set("duration_s", 2.0)
        .set("wake_s", 0.2);
    bench.request.set_mode(Mode::Live);
    bench.request.other_links = vec!["lectern".to_owned(), "foyer".to_owned()];
    bench
}

/// Feeds link, reference and others in blocks, live.
fn live(
    request: &OpenRequest,
    own: [Option<&[f32]>; 2],
    others: &[&[f32]],
) -> Result<SessionResult, Failure> {
    let Ok(mut session) = Crosstalk::open(request) else {
        panic!("not opened");
    };
    let plan = session.plan()?;
    assert!(plan.alone);
    let named = plan
        .captures
        .iter()
        .filter(|capture| capture.kind() == CaptureKind::Other);
    let named: Vec<&str> = named.map(|capture| capture.link.as_str()).collect();
    assert_eq!(named, request.other_links);
    session.begin(0, 0, false)?;
    let mut channels = vec![own[0], own[1], None];
    channels.extend(others.iter().map(|samples| Some(*samples)));
    let count = channels
        .iter()
        .flatten()
        .map(|samples| samples.len())
        .min()
        .unwrap();
    for first in (0..count).step_by(4_096) {
        let end = (first + 4_096).min(count);
        let part =
            |samples: &Option<&'_ [f32]>| samples.map(|samples| samples[first..end].to_vec());
        let parts: Vec<Option<Vec<f32>>> = channels.iter().map(part).collect();
        let parts: Vec<Option<&[f32]>> = parts.iter().map(Option::as_deref).collect();
        session.feed(&Block {
            step: 0,
            repeat: 0,
            first_frame: first as u64,
            stream_frame: first as u64,
            last: end == count,
            channels: &parts,
        })?;
    }
    session.finish(false)
}

/// A figure of a link, and its curve.
fn of<'a>(result: &'a SessionResult, link: &str) -> (&'a Figure, &'a Curve) {
    let is = |at: &Option<goodwire_plugin_sdk::Struct>| {
        let name = at
            .as_ref()
            .and_then(|at| at.fields.get("link")?.kind.clone());
        name == Some(Kind::StringValue(link.to_owned()))
    };
    let figure = result
        .figures
        .iter()
        .find(|figure| is(&figure.at))
        .expect(link);
    (
        figure,
        result
            .curves
            .iter()
            .find(|curve| is(&curve.at))
            .expect(link),
    )
}

/// A first-order high-pass: what two circuits hear of each other through a small capacity.
fn leak(f: f64) -> Complex64 {
    let s = Complex64::new(0.0, f / 2_000.0);
    s / (s + 1.0) * 1e-3
}

#[test]
fn neighbour_that_hears_through_a_high_pass_at_minus_60_db_is_told_as_in_closed_form() {
    let bench = bench();
    let sent = bench.sent::<Crosstalk>();
    let tail = 52_800;
    let own = through(&sent, RATE_HZ, tail, delayed(150.0, RATE_HZ));
    // The reference's return is 3 dB hotter: crosstalk is told re it.
    let cable = through(&sent, RATE_HZ, tail, |_| Complex64::new(2f64.sqrt(), 0.0));
    for (late_frames, sign, noise) in [(900.3, 1.0, 1e-8), (40_000.0, -1.0, 1e-8), (0.0, 1.0, 1e-5)]
    {
        let heard = through(&sent, RATE_HZ, tail, |f| {
            leak(f) * delayed(late_frames, RATE_HZ)(f) * sign
        });
        let heard = with_noise(&heard, noise, 3);
        let deaf = with_noise(&vec![0.0; heard.len()], 1e-5, 4);
        let result = live(&bench.request, [Some(&own), Some(&cable)], &[&heard, &deaf]).unwrap();
        check_finite(&result);
        let (figure, curve) = of(&result, "lectern");
        let want_db: f64 = 10.0
            * (curve
                .x
                .iter()
                .map(|&f| leak(f).norm_sqr() / 2.0)
                .sum::<f64>()
                / curve.x.len() as f64)
                .log10();
        println!(
            "{late_frames} frames: {:?} ± {:?}, want {want_db} dB",
            figure.value, figure.uncertainty
        );
        let off_db = figure.value.unwrap() - want_db;
        assert!(off_db.abs() < 0.02 + 4.0 * figure.uncertainty.unwrap());
        for ((&f, &db), &told) in curve.x.iter().zip(&curve.y).zip(&curve.y_uncertainty) {
            let want_db = 20.0 * (leak(f).norm() / 2f64.sqrt()).log10();
            if told < 1.0 {
                assert!(
                    (db - want_db).abs() < 0.02 + 5.0 * told,
                    "{f} Hz: {db}, want {want_db} dB"
                );
            }
        }
        let (bound, _) = of(&result, "foyer");
        println!("bound {:?} dB", bound.value);
        assert!(bound.value.unwrap() < -60.0);
        let note = result
            .notes
            .iter()
            .find(|note| note.id == "below-noise")
            .unwrap();
        assert!(note.text.contains("foyer") && !note.text.contains("lectern"));
    }
}

#[test]
fn faint_neighbour_is_told_within_its_uncertainty_or_within_its_bound_in_30_of_30_noises() {
    let bench = bench();
    let sent = bench.sent::<Crosstalk>();
    let flat = |_: f64| Complex64::new(1.0, 0.0);
    let cable = through(&sent, RATE_HZ, 52_800, flat);
    let (mut heard_count, mut within) = (0, 0);
    for seed in 0..30 {
        // From 55 to 113 dB below the reference, in noise of 1e-4.
        let want_db = -55.0 - 2.0 * seed as f64;
        let factor = 10f64.powf(want_db / 20.0);
        let quiet: Vec<f32> = cable.iter().map(|x| x * factor as f32).collect();
        let heard = with_noise(&quiet, 1e-4, 100 + seed);
        let result = live(
            &bench.request,
            [Some(&cable), Some(&cable)],
            &[&heard, &heard],
        )
        .unwrap();
        let (figure, _) = of(&result, "lectern");
        let value = figure.value.unwrap();
        if has_note(&result, "below-noise") {
            println!("{want_db} dB: {value:.2} dB at most");
            assert!(value > want_db, "{value} dB");
            assert_eq!((figure.low, figure.high), (Some(-200.0), Some(value)));
            assert_eq!(figure.uncertainty, None);
        } else {
            let told = figure.uncertainty.unwrap();
            println!("{want_db} dB: {value:.2} ± {told:.2} dB");
            heard_count += 1;
            within += usize::from((value - want_db).abs() < 2.0 * told);
            assert!((value - want_db).abs() < 4.0 * told + 0.02);
        }
    }
    println!("{within} of {heard_count} within two");
    assert!(heard_count >= 5 && within * 10 >= heard_count * 8);
}

#[test]
fn recordings_are_told_against_the_cable_recorded_beside_and_not_without_one() {
    let mut bench = bench();
    bench.request.set_mode(Mode::Recorded);
    bench.request.other_links.clear();
    let sent = bench.sent::<Crosstalk>();
    let late = [vec![0.0; 30_000], sent.clone()].concat();
    let heard: Vec<f32> = late.iter().map(|x| 0.01 * x).collect();
    let heard = with_noise(&heard, 1e-6, 8);
    let result = bench
        .analyse::<Crosstalk>(&sent, &heard, Some(&late))
        .unwrap();
    check_finite(&result);
    let [db, told] = value(&result, "crosstalk");
    println!("{db} ± {told} dB");
    assert!((db + 40.0).abs() < 0.02 + 4.0 * told);
    let failure = bench.analyse::<Crosstalk>(&sent, &heard, None).unwrap_err();
    assert_eq!(failure.id, "no-reference");
}

#[test]
fn without_reference_crosstalk_is_told_re_what_was_sent() {
    let bench = bench();
    let sent = bench.sent::<Crosstalk>();
    let own = through(&sent, RATE_HZ, 52_800, delayed(500.0, RATE_HZ));
    let heard = through(&sent, RATE_HZ, 52_800, |f| delayed(100.0, RATE_HZ)(f) * 0.1);
    let result = live(&bench.request, [Some(&own), None], &[&heard, &heard]).unwrap();
    assert!((of(&result, "foyer").0.value.unwrap() + 20.0).abs() < 0.02);
    assert!(has_note(&result, "no-reference"));
}

#[test]
fn wrong_recordings_give_no_figure_and_tell_why() {
    let mut bench = bench();
    let sent = bench.sent::<Crosstalk>();
    let cable = [sent.clone(), vec![0.0; 52_800]].concat();
    let noise: Vec<f32> = (0..cable.len())
        .map(|n| 0.1 * gaussian(3, n as u64) as f32)
        .collect();
    let silent = vec![0.0; cable.len()];
    let mut broken = noise.clone();
    broken[70_000] = f32::NAN;
    for (id, wrong) in [
        ("no-signal", &silent),
        ("unrelated", &noise),
        ("not-finite", &broken),
    ] {
        let failure = live(
            &bench.request,
            [Some(&cable), Some(wrong)],
            &[&noise, &noise],
        );
        assert_eq!(failure.unwrap_err().id, id);
    }
    let both = [Some(&cable[..]), Some(&cable[..])];
    for (id, wrong) in [("digital-silence", &silent), ("not-finite", &broken)] {
        let result = live(&bench.request, both, &[wrong, &noise]).unwrap();
        assert_eq!(result.figures.len(), 1);
        assert!(has_note(&result, id) && has_note(&result, "below-noise"));
        let failure = live(&bench.request, both, &[&silent, wrong]).unwrap_err();
        assert_eq!(failure.id, id, "{}", failure.text);
    }
    let backwards: Vec<f32> = cable.iter().rev().copied().collect();
    let failure = live(
        &bench.request,
        [Some(&cable), Some(&backwards)],
        &[&noise, &noise],
    );
    assert!(failure.is_err());
    bench.request.other_links.clear();
    let failure = live(&bench.request, [Some(&cable), Some(&cable)], &[]).unwrap_err();
    assert_eq!(failure.id, "no-other-links");
}

#[test]
fn a_link_that_shares_the_send_hears_all_of_it_and_is_said_to() {
    let mut bench = bench();
    bench.request.shared_send_links = vec!["foyer".to_owned()];
    let sent = [bench.sent::<Crosstalk>(), vec![0.0; 24_000]].concat();
    let faint: Vec<f32> = sent.iter().map(|x| 0.01 * x).collect();
    let result = live(&bench.request, [Some(&sent), Some(&sent)], &[&faint, &sent]).unwrap();
    let values: Vec<f64> = result.figures.iter().filter_map(|one| one.value).collect();
    assert!(
        (values[0] + 40.0).abs() < 0.01 && values[1].abs() < 0.01,
        "{values:?}"
    );
    assert!(has_note(&result, "shared-send"));
}
