//! The life of a measurement.

use super::*;
use crate::clock::Clock;

#[test]
fn a_finished_measurement_comes_back_with_figures_curves_verdict_and_findings() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let created = store
        .create(&[queued("lectern", "response")], None)
        .unwrap()
        .remove(0);
    let ended = succeeded(&created, -0.42);
    store.finish(&ended).unwrap();
    let end_time = Some(clock().timestamp());
    assert_eq!(
        store.get(&created.name).unwrap(),
        Measurement { end_time, ..ended }
    );
}

#[test]
fn it_is_the_same_after_the_store_was_opened_again() {
    let dir = tempfile::tempdir().unwrap();
    let before = kept(&open(dir.path()), "lectern", "response", -0.42);
    let store = open(dir.path());
    assert_eq!(store.get(&before.name).unwrap(), before);
    assert!(store.interrupted().is_empty());
}

#[test]
fn a_bare_id_names_the_same_measurement() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let measurement = kept(&store, "lectern", "response", 0.0);
    let id = measurement.name.strip_prefix("measurements/").unwrap();
    assert_eq!(store.get(id).unwrap(), measurement);
}

#[test]
fn one_request_asked_twice_is_one_set_of_2_measurements() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let asked = |store: &Store| {
        let two = [queued("lectern", "level"), queued("drum-riser", "level")];
        store.create(&two, Some("5c1e")).unwrap()
    };
    let first = asked(&store);
    store.finish(&succeeded(&first[0], 1.0)).unwrap();
    let again = asked(&store);
    let names = |list: &[Measurement]| list.iter().map(|m| m.name.clone()).collect::<Vec<_>>();
    assert_eq!(names(&again), names(&first));
    assert_eq!(
        again[0].state(),
        State::Succeeded,
        "as it is now, not as it was"
    );
    assert_eq!(store.find_request("5c1e").unwrap(), again);
    assert_eq!(
        store
            .list(&ListQuery::default())
            .unwrap()
            .measurements
            .len(),
        2
    );
    assert_eq!(store.find_request("other").unwrap(), []);
}

#[test]
fn requests_without_an_id_are_never_the_same() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    for id in [None, Some("")] {
        store.create(&[queued("lectern", "level")], id).unwrap();
        store.create(&[queued("lectern", "level")], id).unwrap();
    }
    assert_eq!(
        store
            .list(&ListQuery::default())
            .unwrap()
            .measurements
            .len(),
        4
    );
}

#[test]
fn a_measurement_that_has_ended_stays_as_it_ended_first() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let ended = kept(&store, "lectern", "level", 1.0);
    let mut other = ended.clone();
    other.set_state(State::Cancelled);
    assert!(matches!(
        store.finish(&other),
        Err(StoreError::Ended { .. })
    ));
    other.set_state(State::Running);
    assert!(matches!(
        store.update(&other),
        Err(StoreError::Ended { .. })
    ));
    assert_eq!(store.get(&ended.name).unwrap(), ended);
}

#[test]
fn a_measurement_goes_from_queued_to_running_and_not_back() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let mut measurement = store
        .create(&[queued("lectern", "level")], None)
        .unwrap()
        .remove(0);
    measurement.set_state(State::Running);
    measurement.progress = 0.25;
    store.update(&measurement).unwrap();
    assert_eq!(store.get(&measurement.name).unwrap(), measurement);
    measurement.set_state(State::Queued);
    let error = store.update(&measurement).unwrap_err().to_string();
    assert!(error.contains("RUNNING already"), "{error}");
}

#[test]
fn states_that_do_not_fit_the_call_are_refused() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let running = store
        .create(&[queued("lectern", "level")], None)
        .unwrap()
        .remove(0);
    let ended = succeeded(&running, 0.0);
    assert!(matches!(
        store.finish(&running),
        Err(StoreError::State { .. })
    ));
    assert!(matches!(
        store.update(&ended),
        Err(StoreError::State { .. })
    ));
    assert!(matches!(
        store.create(&[ended], None),
        Err(StoreError::State { .. })
    ));
    let unknown = succeeded(&queued("lectern", "level"), 0.0);
    assert!(matches!(
        store.finish(&unknown),
        Err(StoreError::NotFound { .. })
    ));
    assert!(matches!(
        store.get("measurements/none"),
        Err(StoreError::NotFound { .. })
    ));
}

#[test]
fn of_a_set_with_one_wrong_measurement_none_is_stored() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let one = queued("lectern", "level");
    assert!(
        store.create(&[one.clone(), one], Some("5c1e")).is_err(),
        "two of one name"
    );
    assert_eq!(store.list(&ListQuery::default()).unwrap().measurements, []);
    assert_eq!(store.find_request("5c1e").unwrap(), []);
}

#[test]
fn eight_threads_that_write_at_once_lose_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    std::thread::scope(|scope| {
        for thread in 0..8 {
            let store = store.clone();
            scope.spawn(move || {
                for _ in 0..10 {
                    kept(
                        &store,
                        &format!("link-{thread}"),
                        "level",
                        f64::from(thread),
                    );
                }
            });
        }
    });
    for thread in 0..8 {
        let query = ListQuery {
            link: format!("link-{thread}"),
            ..Default::default()
        };
        let found = store.list(&query).unwrap().measurements;
        assert_eq!(found.len(), 10);
        assert!(
            found
                .iter()
                .all(|m| m.figures[0].value == Some(f64::from(thread)))
        );
    }
}

#[test]
fn names_rise_within_a_millisecond_and_when_the_clock_is_set_back_by_an_hour() {
    let clock = clock();
    let mut last = new_name(&*clock);
    for round in 0..1000 {
        if round == 500 {
            clock.step_back(std::time::Duration::from_secs(3600));
        }
        let name = new_name(&*clock);
        assert!(name > last, "{name} after {last}");
        last = name;
    }
}

#[test]
fn the_newest_20_measurements_with_sounds_keep_them_and_older_ones_keep_their_figures() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let names: Vec<String> = (0..22).map(|n| heard(&store, n as f32)).collect();
    let silent = kept(&store, "lectern", "level", 0.0);
    for (number, name) in names.iter().enumerate() {
        let kept = (number >= 2).then(|| vec![number as f32; 3]);
        assert_eq!(store.sound(name, "difference").unwrap(), kept, "{number}");
        assert_eq!(store.get(name).unwrap().figures.len(), 1);
    }
    assert_eq!(store.sound(&names[21], "link").unwrap(), None);
    assert_eq!(store.sound(&silent.name, "difference").unwrap(), None);
}
