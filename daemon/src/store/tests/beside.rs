//! What is kept beside measurements.

use std::time::Duration;

use goodwire_proto::v1::{Calibration, calibration::Side};

use super::*;
use crate::clock::Clock;

#[test]
fn a_baseline_is_set_replaced_listed_and_cleared_and_survives_a_restart() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let time = clock().timestamp();
    let old = kept(&store, "lectern", "level", 1.0);
    let new = kept(&store, "lectern", "level", 2.0);
    store
        .set_baseline("lectern", "level", &old.name, time)
        .unwrap();
    let set = store
        .set_baseline("links/lectern", "level", &new.name, time)
        .unwrap();
    assert_eq!(
        (set.link.as_str(), set.measurement.as_str()),
        ("links/lectern", &*new.name)
    );
    drop(store);
    let store = open(dir.path());
    assert_eq!(store.baselines().unwrap(), [set]);
    assert_eq!(store.baseline("lectern", "level").unwrap(), Some(new));
    assert_eq!(store.baseline("lectern", "response").unwrap(), None);
    assert!(store.clear_baseline("lectern", "level").unwrap());
    assert!(!store.clear_baseline("lectern", "level").unwrap());
    assert_eq!(store.baselines().unwrap(), []);
    assert!(store.get(&old.name).is_ok(), "its measurement stays");
}

#[test]
fn only_what_succeeded_can_be_a_baseline_or_a_match() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let unfinished = store
        .create(&[queued("lectern", "level")], None)
        .unwrap()
        .remove(0)
        .name;
    let time = clock().timestamp();
    let refused = store.set_baseline("lectern", "level", &unfinished, time);
    assert!(matches!(refused, Err(StoreError::State { .. })));
    assert!(matches!(
        store.set_match("lectern", &unfinished),
        Err(StoreError::State { .. })
    ));
    let unknown = store.set_match("lectern", "measurements/none");
    assert!(matches!(unknown, Err(StoreError::NotFound { .. })));
}

#[test]
fn a_match_is_in_force_as_soon_as_it_has_succeeded_and_until_the_next() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    assert_eq!(store.current_match("lectern").unwrap(), None);
    let mut made = Vec::new();
    for gain_db in [0.1, 0.2] {
        let asked = Measurement {
            is_match: true,
            ..queued("lectern", "response")
        };
        store.create(std::slice::from_ref(&asked), None).unwrap();
        store.finish(&succeeded(&asked, gain_db)).unwrap();
        let current = store.current_match("links/lectern").unwrap().unwrap();
        assert_eq!(current.figures[0].value, Some(gain_db));
        made.push(asked.name);
    }
    store.set_match("lectern", &made[0]).unwrap();
    assert_eq!(
        store.current_match("lectern").unwrap().unwrap().name,
        made[0]
    );
    assert_eq!(store.current_match("drum-riser").unwrap(), None);
}

#[test]
fn calibrations_come_sends_first_and_the_last_word_counts() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let say = |side: Side, channel, volts| {
        let time = Some(clock().timestamp());
        let said = Calibration {
            side: side.into(),
            channel,
            volts,
            create_time: time,
        };
        store.set_calibration(&said).unwrap();
        said
    };
    let returned = say(Side::Return, 1, 1.5);
    say(Side::Send, 2, 1.0);
    let sent = say(Side::Send, 2, 1.25);
    assert_eq!(store.calibrations().unwrap(), [sent, returned]);
}

#[test]
fn a_hold_survives_a_restart_and_ends_with_release_alone() {
    let dir = tempfile::tempdir().unwrap();
    let clock = clock();
    let store = Store::open(dir.path(), clock.clone()).unwrap();
    assert_eq!(store.hold().unwrap(), None);
    assert!(!store.release().unwrap());
    let set = store.set_hold("rehearsal").unwrap();
    assert_eq!(set.create_time, Some(clock.timestamp()));
    clock.advance(Duration::from_secs(60));
    let again = store.set_hold("concert").unwrap();
    assert_eq!(
        (again.text.as_str(), again.create_time),
        ("concert", set.create_time)
    );
    drop(store);
    let store = open(dir.path());
    assert_eq!(store.hold().unwrap(), Some(again));
    assert!(store.release().unwrap());
    assert_eq!(store.hold().unwrap(), None);
}

#[test]
fn last_checks_give_the_last_ended_measurement_of_each_analysis_newest_first() {
    let dir = tempfile::tempdir().unwrap();
    let clock = clock();
    let store = Store::open(dir.path(), clock.clone()).unwrap();
    let tick = |analysis: &str| {
        clock.advance(Duration::from_secs(1));
        kept(&store, "lectern", analysis, 0.0)
    };
    tick("level");
    let level = tick("level");
    let response = tick("response");
    kept(&store, "drum-riser", "level", 0.0);
    store.create(&[queued("lectern", "level")], None).unwrap();
    let as_match = Measurement {
        is_match: true,
        ..queued("lectern", "response")
    };
    store.create(std::slice::from_ref(&as_match), None).unwrap();
    store.finish(&succeeded(&as_match, 0.0)).unwrap();
    let checks = store.last_checks("links/lectern").unwrap();
    let names: Vec<_> = checks
        .iter()
        .map(|check| check.measurement.as_str())
        .collect();
    assert_eq!(names, [&*response.name, &*level.name]);
    assert_eq!(checks[1].outcome(), Outcome::Pass);
    assert_eq!(checks[1].state(), State::Succeeded);
    assert_eq!(checks[1].end_time, level.end_time);
}

#[test]
fn the_last_figure_is_the_last_live_one_of_the_link_itself() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let last = |simulated| {
        store
            .last_figure("links/lectern", "level", "gain", simulated)
            .unwrap()
    };
    assert_eq!(last(true), None);
    kept(&store, "lectern", "level", 1.0);
    kept(&store, "lectern", "level", -2.5);
    kept(&store, "drum-riser", "level", 3.0);
    kept(&store, "lectern", "response", 4.0);
    for other in [
        Measurement {
            recorded: true,
            ..queued("lectern", "level")
        },
        Measurement {
            is_match: true,
            ..queued("lectern", "level")
        },
        Measurement {
            simulated: false,
            ..queued("lectern", "level")
        },
    ] {
        store.create(std::slice::from_ref(&other), None).unwrap();
        store.finish(&succeeded(&other, 9.0)).unwrap();
    }
    assert_eq!(last(true), Some(-2.5));
    assert_eq!(
        last(false),
        Some(9.0),
        "real hardware is told apart from the simulated rig"
    );
}

#[test]
fn of_two_figures_of_one_id_the_first_counts() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    for values in [[1.0, 2.0], [3.0, 4.0]] {
        let asked = queued("lectern", "level");
        store.create(std::slice::from_ref(&asked), None).unwrap();
        let mut ended = succeeded(&asked, 0.0);
        ended.figures = values.map(|value| figure("thd", value)).to_vec();
        store.finish(&ended).unwrap();
    }
    assert_eq!(
        store.last_figure("lectern", "level", "thd", true).unwrap(),
        Some(3.0)
    );
}
