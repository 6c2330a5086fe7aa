//! Runs whose end is known by construction: run time, dropouts, bounds, and what keeps a run going.

mod support;

use goodwire_plugin_endurance::Endurance;
use goodwire_plugin_sdk::api::Note;
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::session_note;
use goodwire_plugin_sdk::payload::{LostFrames, OpenRequest, SessionNote, SessionResult};
use goodwire_plugin_sdk::{OpenError, Plugin, Session};
use support::{BLOCK, RATE_HZ, Rig, begun, open, request};

/// Lost after 5 s, ended after 72 s.
const SHORT: [(&str, f64); 2] = [("lost_after_s", 5.0), ("longest_h", 0.02)];

fn value(result: &SessionResult, id: &str) -> f64 {
    let figure = result.figures.iter().find(|figure| figure.id == id);
    figure.and_then(|figure| figure.value).unwrap()
}

fn run_time(result: &SessionResult) -> [Option<f64>; 3] {
    let figure = &result.figures[0];
    assert_eq!(figure.id, "run_time");
    [figure.low, figure.value, figure.high]
}

fn note<'a>(result: &'a SessionResult, id: &str) -> Option<&'a Note> {
    result.notes.iter().find(|note| note.id == id)
}

fn lose(session: &mut dyn Session, at_frame: u64, frame_count: u64) {
    let lost = LostFrames {
        frame_count: Some(frame_count as f64),
    };
    let note = SessionNote {
        note: Some(session_note::Note::Lost(lost)),
        at_frame: at_frame as f64,
    };
    session.note(&note).unwrap();
}

/// Runs until there is enough; gives the result and how many frames that took.
fn whole_run(rig: &Rig, settings: &[(&str, f64)]) -> (SessionResult, u64) {
    let request = OpenRequest {
        has_reference: rig.has_reference,
        ..request(settings, Vec::new())
    };
    let mut session = begun(&request);
    let end = rig.feed(session.as_mut(), 0..u64::MAX);
    (session.finish(false).unwrap(), end)
}

#[test]
fn the_last_good_signal_is_found_within_10_ms_and_the_run_ends_5_s_later() {
    for (dies_at, reference) in [(960_000, true), (1_000_123, true), (1_234_567, false)] {
        let rig = Rig {
            dies_at,
            has_reference: reference,
            gaps: vec![[480_000, 482_400]],
            ..Rig::default()
        };
        let (result, end) = whole_run(&rig, &SHORT);
        let ran_s = value(&result, "run_time");
        let off_s = ran_s - dies_at as f64 / RATE_HZ as f64;
        assert!(off_s.abs() < 0.01, "{off_s} s off");
        assert!((end as f64 / RATE_HZ as f64 - ran_s - 5.0).abs() < 0.2);
        assert_eq!(value(&result, "dropouts"), 1.0);
        assert!((value(&result, "lost_time") - 50.0).abs() < 3.0);
        let kinds: Vec<&str> = result.events.iter().map(|one| one.id.as_str()).collect();
        assert_eq!(kinds, ["gap", "lost"]);
        assert_eq!(result.events[1].start_s, Some(ran_s));
        assert!(note(&result, "either-battery").is_some());
        assert!(note(&result, "full-charge-assumed").is_some());
        assert_eq!(note(&result, "no-reference").is_some(), !reference);
        assert_eq!(run_time(&result), [None, Some(ran_s), None]);
    }
}

#[test]
fn noise_12_db_louder_than_the_pilot_in_its_place_is_no_good_signal() {
    let rig = Rig {
        dies_at: 960_000,
        // The pilot's RMS is -31 dBFS.
        noise: 0.11,
        ..Rig::default()
    };
    let (result, _) = whole_run(&rig, &SHORT);
    let off_s = value(&result, "run_time") - 20.0;
    assert!(off_s.abs() < 0.01, "{off_s} s off");
    assert_eq!(value(&result, "dropouts"), 0.0);
    assert!(note(&result, "none-seen").is_some());
}

#[test]
fn a_dropout_of_4_s_is_one_and_the_link_runs_on() {
    let rig = Rig {
        dies_at: 1_440_000,
        gaps: vec![[480_000, 672_000]],
        ..Rig::default()
    };
    let (result, _) = whole_run(&rig, &SHORT);
    assert!((value(&result, "run_time") - 30.0).abs() < 0.01);
    assert_eq!(value(&result, "dropouts"), 1.0);
    assert!((value(&result, "longest") - 4_000.0).abs() < 3.0);
}

#[test]
fn while_the_cable_is_silent_too_nothing_ends_and_no_dropout_is_counted() {
    let rig = Rig {
        rig_gaps: vec![[480_000, 960_000]],
        dies_at: 1_440_000,
        ..Rig::default()
    };
    let (result, _) = whole_run(&rig, &SHORT);
    assert!((value(&result, "run_time") - 30.0).abs() < 0.01);
    assert_eq!(value(&result, "dropouts"), 0.0);
}

#[test]
fn a_link_that_outlasts_the_watch_runs_at_least_so_long() {
    let (result, end) = whole_run(&Rig::default(), &SHORT);
    let [low, ran_s, high] = run_time(&result);
    assert_eq!((low, high), (ran_s, None));
    assert!((ran_s.unwrap() - end as f64 / RATE_HZ as f64).abs() < 0.2);
    assert!((72.0..74.5).contains(&ran_s.unwrap()), "{ran_s:?}");
    assert!(note(&result, "still-running").is_some());
    assert!(note(&result, "either-battery").is_none());
    assert!(result.events.is_empty());
}

#[test]
fn what_is_needed_is_told_reached_missed_or_not_shown() {
    let needed = |hours, dies_at| {
        let settings = [SHORT[0], SHORT[1], ("needed_hours", hours)];
        let rig = Rig {
            dies_at,
            ..Rig::default()
        };
        whole_run(&rig, &settings).0
    };
    let reached = needed(0.005, 20 * RATE_HZ);
    assert!(
        note(&reached, "long-enough")
            .unwrap()
            .text
            .contains("2.0 s to spare")
    );
    let missed = needed(0.01, 20 * RATE_HZ);
    assert!(
        note(&missed, "too-short")
            .unwrap()
            .text
            .contains("missed by 16.0 s")
    );
    assert!(note(&needed(0.02, u64::MAX), "long-enough").is_some());
}

#[test]
fn ended_by_hand_in_a_gap_it_says_that_nobody_knows_and_needs_are_not_shown() {
    let settings = [SHORT[0], SHORT[1], ("needed_hours", 0.02)];
    let mut session = open(&settings, Vec::new());
    let rig = Rig {
        dies_at: 480_000,
        ..Rig::default()
    };
    rig.feed(session.as_mut(), 0..480_000 + 30 * BLOCK);
    let lost_for = session.readings();
    assert!(lost_for.figures.iter().any(|one| one.id == "lost_for"));
    let result = session.finish(true).unwrap();
    assert!(note(&result, "silent-at-end").is_some());
    assert!(note(&result, "need-not-shown").is_some());
    assert_eq!(value(&result, "dropouts"), 1.0);
    assert_eq!(run_time(&result)[2], None);
}

#[test]
fn ten_minutes_that_the_interface_lost_are_neither_good_nor_lost() {
    let mut session = open(&[("lost_after_s", 5.0)], Vec::new());
    let rig = Rig {
        dies_at: 630 * RATE_HZ,
        ..Rig::default()
    };
    rig.feed(session.as_mut(), 0..10 * RATE_HZ);
    lose(session.as_mut(), 10 * RATE_HZ, 600 * RATE_HZ);
    rig.feed(session.as_mut(), 610 * RATE_HZ..u64::MAX);
    let result = session.finish(false).unwrap();
    assert!((value(&result, "run_time") - 630.0).abs() < 0.01);
    assert_eq!(value(&result, "dropouts"), 0.0);
    let per_minute = result.figures.iter().find(|one| one.id == "dropout_rate");
    // Garwood's upper bound for none seen is 3.688 879 (SciPy: chi2.ppf(0.975, 2) / 2); of 30 s all
    // but the 1.8 s before the pilot were judged.
    let judged_s = 60.0 * 3.688_879 / per_minute.unwrap().high.unwrap();
    assert!((28.0..28.4).contains(&judged_s), "{judged_s} s");
    assert!(
        note(&result, "frames-lost")
            .unwrap()
            .text
            .contains("600.000 s")
    );
}

/// A link that died while the daemon was away, at 20 s of 12 to 40 s.
fn died_unseen(is_resumed: bool) -> SessionResult {
    let mut session = open(&SHORT, Vec::new());
    let rig = Rig {
        dies_at: 20 * RATE_HZ,
        ..Rig::default()
    };
    rig.feed(session.as_mut(), 0..12 * RATE_HZ);
    let mut later = session;
    if is_resumed {
        // The state is of up to a second before.
        let state = rig.last_state.take();
        later = open(&SHORT, state);
    }
    lose(later.as_mut(), 12 * RATE_HZ, 28 * RATE_HZ);
    rig.feed(later.as_mut(), 40 * RATE_HZ..u64::MAX);
    later.finish(false).unwrap()
}

#[test]
fn a_link_that_died_while_nobody_listened_has_bounds_with_and_without_a_restart() {
    for is_resumed in [false, true] {
        let result = died_unseen(is_resumed);
        let [low, ran_s, high] = run_time(&result).map(Option::unwrap);
        assert!((11.0 - 0.2..12.0).contains(&low) && low == ran_s, "{low} s");
        assert!((high - 40.0).abs() < 0.05, "{high} s");
        assert!(note(&result, "ended-unseen").is_some());
        assert_eq!(value(&result, "dropouts"), 0.0);
    }
}

#[test]
fn after_a_restart_it_runs_on_and_closed_at_once_it_ran_at_least_so_long() {
    let rig = Rig {
        gaps: vec![[480_000, 482_400]],
        dies_at: 50 * RATE_HZ,
        ..Rig::default()
    };
    let mut session = open(&SHORT, Vec::new());
    rig.feed(session.as_mut(), 0..20 * RATE_HZ);
    drop(session);
    let state = rig.last_state.take();
    assert!(state.len() < 20_000, "{} bytes", state.len());

    let mut resumed = open(&SHORT, state.clone());
    lose(resumed.as_mut(), 20 * RATE_HZ, 10 * RATE_HZ);
    rig.feed(resumed.as_mut(), 30 * RATE_HZ..u64::MAX);
    let result = resumed.finish(false).unwrap();
    assert!((value(&result, "run_time") - 50.0).abs() < 0.01);
    assert_eq!(value(&result, "dropouts"), 1.0);

    let closed = open(&SHORT, state).finish(true).unwrap();
    let [low, _, high] = run_time(&closed);
    assert!((18.9..20.0).contains(&low.unwrap()) && high.is_none());
    assert_eq!(value(&closed, "dropouts"), 1.0);
    assert!(note(&closed, "still-running").is_some());
}

#[test]
fn a_link_or_a_cable_that_never_carried_the_pilot_has_no_run_time() {
    let ending = |rig: &Rig| {
        let mut session = open(&SHORT, Vec::new());
        let end = rig.feed(session.as_mut(), 0..u64::MAX);
        (session.finish(false).unwrap_err(), end)
    };
    let dead = Rig {
        dies_at: 0,
        noise: 0.001,
        ..Rig::default()
    };
    let (failure, end) = ending(&dead);
    assert_eq!(
        (failure.id.as_str(), failure.channel),
        ("no-signal", "link")
    );
    assert!(end < 8 * RATE_HZ, "{end} frames");
    let unplugged = Rig {
        rig_gaps: vec![[0, u64::MAX]],
        ..Rig::default()
    };
    let (failure, _) = ending(&unplugged);
    assert_eq!(
        (failure.id.as_str(), failure.channel),
        ("no-signal", "reference")
    );
}

#[test]
fn what_does_not_go_together_and_recordings_are_refused() {
    let wrong = request(&[("longest_h", 2.0), ("needed_hours", 4.0)], Vec::new());
    let Err(OpenError::Invalid(wrong)) = Endurance::open(&wrong) else {
        panic!("it was taken");
    };
    assert_eq!(wrong[0].field, "longest_h");
    let mut recorded = request(&[], Vec::new());
    recorded.mode = Mode::Recorded.into();
    let Err(OpenError::Failed(failure)) = Endurance::open(&recorded) else {
        panic!("it was taken");
    };
    assert_eq!(failure.id, "live-only");
    let damaged = request(&[], b"{\"version\":1".to_vec());
    let Err(OpenError::Failed(failure)) = Endurance::open(&damaged) else {
        panic!("it was taken");
    };
    assert_eq!(failure.id, "state-unreadable");
}
