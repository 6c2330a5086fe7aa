//! A watch that was cut short is gone on from, or closed with what was seen.

use std::ops::Range;

use goodwire_plugin_dropout::Dropout;
use goodwire_plugin_sdk::api::Figure;
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::session_note::Note;
use goodwire_plugin_sdk::payload::{LostFrames, Mark, OpenRequest, SessionNote, SessionResult};
use goodwire_plugin_sdk::{Block, Kind, OpenError, Plugin, Session, Value};

const RATE_HZ: u64 = 48_000;
const BLOCK: u64 = 4_800;
/// Frames by which the link is later than the cable.
const DELAY: u64 = 300;

fn request(state: Vec<u8>) -> OpenRequest {
    let declared = Dropout::describe().analyses.remove(0).parameters;
    let mut request = goodwire_plugin_sdk::parameters::request_of_defaults("dropout", &declared);
    let fields = &mut request.parameters.as_mut().unwrap().fields;
    let duration_s = Value {
        kind: Some(Kind::NumberValue(60.0)),
    };
    fields.insert("duration_s".to_owned(), duration_s);
    OpenRequest {
        mode: Mode::Live.into(),
        rate_hz: RATE_HZ as i32,
        returned_rate_hz: RATE_HZ as i32,
        has_reference: true,
        state,
        ..request
    }
}

fn open(state: Vec<u8>) -> Box<dyn Session> {
    let mut session = Dropout::open(&request(state)).unwrap_or_else(|_| panic!("it opens"));
    assert_eq!(session.plan().unwrap().steps[0].frame_count, 0);
    session
}

/// Feeds the frames of `range`, the link silent in `gaps`; gives the last state.
fn feed(session: &mut dyn Session, range: Range<u64>, gaps: &[Range<u64>]) -> Vec<u8> {
    let mut state = Vec::new();
    for first_frame in range.step_by(BLOCK as usize) {
        let mut cable = vec![0.0; BLOCK as usize];
        session.render(0, first_frame, &mut cable).unwrap();
        let mut link = vec![0.0; BLOCK as usize];
        let late = first_frame.saturating_sub(DELAY);
        session.render(0, late, &mut link).unwrap();
        for (frame, sample) in (first_frame..).zip(&mut link) {
            if frame < DELAY || gaps.iter().any(|gap| gap.contains(&frame)) {
                *sample = 0.0;
            }
        }
        let block = Block {
            step: 0,
            repeat: 0,
            first_frame,
            stream_frame: first_frame,
            last: false,
            channels: &[Some(&link), Some(&cable)],
        };
        session.feed(&block).unwrap();
        let now = session.readings().state;
        if !now.is_empty() {
            state = now;
        }
    }
    state
}

fn figure<'a>(result: &'a SessionResult, id: &str) -> &'a Figure {
    result
        .figures
        .iter()
        .find(|figure| figure.id == id)
        .unwrap()
}

fn value(result: &SessionResult, id: &str) -> f64 {
    figure(result, id).value.unwrap()
}

fn note(session: &mut dyn Session, at_frame: u64, note: Note) {
    let note = SessionNote {
        note: Some(note),
        at_frame: at_frame as f64,
    };
    session.note(&note).unwrap();
}

/// A gap of 40 ms at 6 s and one that begins at 11.5 s; the state is of 12 s.
fn cut_short() -> Vec<u8> {
    let mut session = open(Vec::new());
    session.begin(0, 0, false).unwrap();
    let mark = Mark {
        metres: Some(4.5),
        label: "door".to_owned(),
    };
    let first = 6 * RATE_HZ..6 * RATE_HZ + 1_920;
    feed(session.as_mut(), 0..5 * RATE_HZ, &[]);
    note(session.as_mut(), 5 * RATE_HZ, Note::Mark(mark));
    let rest = 5 * RATE_HZ..12 * RATE_HZ + BLOCK;
    feed(session.as_mut(), rest, &[first, 552_000..u64::MAX])
}

#[test]
fn what_was_seen_is_the_result_of_a_session_that_never_heard_anything() {
    let mut session = open(cut_short());
    let result = session.finish(true).unwrap();
    assert_eq!(value(&result, "dropouts"), 2.0);
    // 40 ms, and the half second and more of the one that was going on.
    let lost_ms = value(&result, "lost_time");
    assert!((500.0..640.0).contains(&lost_ms), "{lost_ms} ms");
    let starts: Vec<f64> = result.events.iter().filter_map(|one| one.start_s).collect();
    assert_eq!(result.events.len(), 3);
    assert!((starts[0] - 6.0).abs() < 0.0015 && (starts[1] - 11.5).abs() < 0.0015);
    assert_eq!((result.events[2].id.as_str(), starts[2]), ("mark", 5.0));
}

#[test]
fn of_60_s_12_were_seen_so_that_counts_are_at_least_and_availability_lies_between_bounds() {
    let result = open(cut_short()).finish(true).unwrap();
    for (id, least) in [("dropouts", 2.0), ("lost_time", 500.0), ("longest", 450.0)] {
        let figure = figure(&result, id);
        assert!(
            figure.low.unwrap() >= least && figure.high.is_none(),
            "{figure:?}"
        );
        assert_eq!(figure.uncertainty, None);
    }
    // Some 10 s were judged: were all else of 60 s lost, 1 in 6 of the sound would have been there.
    let available = figure(&result, "availability");
    let (low, high) = (available.low.unwrap(), available.high.unwrap());
    assert!(
        (14.0..18.0).contains(&low) && (98.0..99.5).contains(&high),
        "{available:?}"
    );
    assert!(result.notes.iter().any(|note| note.id == "seen-too-little"));
}

#[test]
fn it_goes_on_an_hour_away_costs_nothing_and_all_gaps_are_told() {
    let state = cut_short();
    let mut session = open(state);
    let lost = LostFrames {
        frame_count: Some((18 * RATE_HZ) as f64),
    };
    note(session.as_mut(), 12 * RATE_HZ, Note::Lost(lost));
    session.begin(0, 0, false).unwrap();
    let gap = 40 * RATE_HZ..40 * RATE_HZ + 960;
    feed(session.as_mut(), 30 * RATE_HZ..60 * RATE_HZ, &[gap]);
    let result = session.finish(false).unwrap();
    assert_eq!(value(&result, "dropouts"), 3.0);
    let starts: Vec<f64> = result.events.iter().filter_map(|one| one.start_s).collect();
    assert!((starts[2] - 40.0).abs() < 0.0015, "{starts:?}");
    let note = result.notes.iter().find(|note| note.id == "frames-lost");
    assert!(note.unwrap().text.contains("1 times, 18.000 s"));
    // 10.3 s and 30 s were judged, and 3 dropouts seen in them.
    let per_minute = value(&result, "dropout_rate");
    assert!(
        (per_minute - 3.0 / (40.3 / 60.0)).abs() < 0.1,
        "{per_minute}"
    );
}

#[test]
fn damaged_state_is_refused_by_its_id_and_nothing_panics() {
    let state = cut_short();
    for length in [1, 10, state.len() / 2, state.len() - 1] {
        let Err(OpenError::Failed(failure)) = Dropout::open(&request(state[..length].to_vec()))
        else {
            panic!("{length} bytes were taken");
        };
        assert_eq!(failure.id, "state-unreadable");
    }
}
