//! Links that mute when idle and wake late.

#[path = "../../dsp/tests/support/link.rs"]
mod link;

use goodwire_dsp::Complex64;
use goodwire_plugin_response::Response;
use goodwire_plugin_sdk::payload::SessionResult;
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::{Block, Fed, Plugin};
use link::*;

const RATE_HZ: f64 = 48_000.0;
/// Quiet in seconds after which the link sleeps.
const IDLE_S: f64 = 0.1;

fn form(f: f64) -> Complex64 {
    high_pass(30.0, 2)(f) * low_pass(16_000.0, 4)(f) * delayed(100.0, RATE_HZ)(f)
}

/// A sound that wakes it: 1 dB below the sweep's peak, so that the wake-up noise does not.
const LOUD: f32 = 0.089;

/// What a link carries that mutes after 0.1 s of quiet and wakes `wake_s` after a loud sound.
fn gated(sent: &[f32], wake_s: f64) -> Vec<f32> {
    let [idle, wake] = [IDLE_S, wake_s].map(|s| (s * RATE_HZ) as usize);
    let (mut last_loud, mut awake_from) = (None, 0);
    let carried = sent.iter().enumerate().map(|(frame, &sample)| {
        let slept = last_loud.is_none_or(|last| frame - last > idle);
        if sample.abs() > LOUD {
            if slept {
                awake_from = frame + wake;
            }
            last_loud = Some(frame);
        }
        let is_open = frame >= awake_from && last_loud.is_some_and(|last| frame - last <= idle);
        if is_open { sample } else { 0.0 }
    });
    carried.collect()
}

/// Plays live what the session asks for through `link`, with noise; the result and the number of
/// plays.
fn live(bench: &Bench, link: impl Fn(&[f32]) -> Vec<f32>) -> (SessionResult, usize) {
    let Ok(mut session) = Response::open(&bench.request) else {
        panic!("the parameters are right");
    };
    let plan = session.plan().unwrap();
    let mut plays = 0;
    for (number, step) in (0..).zip(&plan.steps) {
        let frame_count = (step.frame_count + step.tail_frame_count) as usize;
        let mut sent = vec![0.0; step.frame_count as usize];
        session.render(number, 0, &mut sent).unwrap();
        sent.resize(frame_count, 0.0);
        let returned = with_noise(
            &through(&link(&sent), RATE_HZ, 0, form),
            1e-5,
            3 + u64::from(number),
        );
        let reference = with_noise(&sent, 1e-5, 9 + u64::from(number));
        session.begin(number, number, false).unwrap();
        plays += 1;
        let block = Block {
            step: number,
            repeat: number,
            first_frame: 0,
            stream_frame: 0,
            last: true,
            channels: &[Some(&returned), Some(&reference), None],
        };
        if session.feed(&block).unwrap() == Fed::Enough {
            break;
        }
    }
    (session.finish(false).unwrap(), plays)
}

fn bench(mode: Mode) -> Bench {
    let mut bench = Bench::of::<Response>("response", 48_000).set("duration_s", 1.0);
    bench.request.mode = mode.into();
    bench
}

/// Largest difference to the closed form in dB, to 20 kHz where that is above -40 dB.
fn worst_db(result: &SessionResult) -> f64 {
    let curve = curve(result, "magnitude");
    let off = curve.x.iter().zip(&curve.y).map(|(&f, db)| {
        let want_db = 20.0 * form(f).norm().log10();
        if want_db > -40.0 {
            (db - want_db).abs()
        } else {
            0.0
        }
    });
    off.fold(0.0, f64::max)
}

fn note<'a>(result: &'a SessionResult, id: &str) -> &'a str {
    let found = result.notes.iter().find(|note| note.id == id);
    &found
        .unwrap_or_else(|| panic!("no note {id}: {:?}", result.notes))
        .text
}

#[test]
fn a_link_that_wakes_0_1_s_late_is_measured_from_the_top_down_and_its_bass_is_true() {
    let (result, plays) = live(&bench(Mode::Live), |sent| gated(sent, 0.1));
    println!("{}", note(&result, "woke-late"));
    assert_eq!(plays, 2);
    let worst_db = worst_db(&result);
    assert!(worst_db < 0.05, "{worst_db} dB off");
    check_finite(&result);
}

#[test]
fn a_link_that_wakes_in_time_is_measured_again_where_its_bass_is_low_and_the_bass_is_confirmed() {
    let (result, plays) = live(&bench(Mode::Live), |sent| {
        // It sleeps for half a second, once.
        let mut carried = sent.to_vec();
        carried[..24_000].fill(0.0);
        carried
    });
    assert_eq!(plays, 2);
    assert!(note(&result, "bass-confirmed").contains("reads the same"));
    assert!(!has_note(&result, "woke-late"));
    assert!(worst_db(&result) < 0.05);
}

#[test]
fn a_link_that_never_sleeps_is_measured_once() {
    let (result, plays) = live(&bench(Mode::Live), <[f32]>::to_vec);
    assert_eq!((plays, has_note(&result, "woke-late")), (1, false));
}

#[test]
fn a_recording_of_a_link_that_slept_says_that_its_bass_is_in_doubt() {
    let bench = bench(Mode::Recorded);
    let sent = bench.sent::<Response>();
    let returned = through(&gated(&sent, 0.1), RATE_HZ, 48_000, form);
    let result = bench.analyse::<Response>(&sent, &returned, None).unwrap();
    println!("{}", note(&result, "bass-unsure"));
    // A recording that began late slept through nothing that anybody knows of.
    let late = &through(&sent, RATE_HZ, 48_000, form)[48_000..];
    let result = bench.analyse::<Response>(&sent, late, None).unwrap();
    assert!(!has_note(&result, "bass-unsure"));
}

#[test]
fn of_three_repeats_the_first_whose_bass_read_low_does_not_count() {
    let bench = bench(Mode::Recorded).set("repeats", 3.0);
    let sent = bench.sent::<Response>();
    let mut carried = sent.clone();
    // The body begins 1.9 s after the first frame; 0.2 s into the first sweep it wakes.
    carried[(1.86 * RATE_HZ) as usize..(2.1 * RATE_HZ) as usize].fill(0.0);
    let returned = with_noise(&through(&carried, RATE_HZ, 48_000, form), 1e-5, 1);
    let result = bench.analyse::<Response>(&sent, &returned, None).unwrap();
    println!("{}", note(&result, "woke-late"));
    assert!(worst_db(&result) < 0.05, "{} dB off", worst_db(&result));
}

#[test]
fn steady_repeats_in_noise_of_20_and_0_db_are_not_taken_for_late_ones_in_60_seeds() {
    let bench = bench(Mode::Recorded)
        .set("duration_s", 0.5)
        .set("repeats", 2.0);
    let sent = bench.sent::<Response>();
    let clean = through(&sent, RATE_HZ, 48_000, form);
    for seed in 0..60 {
        let rms = if seed < 30 { 0.007 } else { 0.07 };
        let returned = with_noise(&clean, rms, seed);
        let result = bench.analyse::<Response>(&sent, &returned, None).unwrap();
        assert!(!has_note(&result, "woke-late"), "seed {seed}");
    }
}
