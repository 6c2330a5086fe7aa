//! Histories of figures, curves that are kept, and lists by verdict.

use std::time::Instant;

use prost_types::{Struct, Value, value::Kind};
use rusqlite::Connection;

use super::*;

fn of_gain(link: &str) -> HistoryQuery {
    HistoryQuery {
        link: link.to_owned(),
        analysis: "level".to_owned(),
        figure: "gain".to_owned(),
        ..HistoryQuery::default()
    }
}

fn values(store: &Store, query: &HistoryQuery) -> Vec<f64> {
    let points = store.history(query).unwrap().points;
    points.iter().map(|point| point.value).collect()
}

/// Finishes a measurement that was asked for so many nights after the start.
fn at_night(store: &Store, night: i64, change: impl FnOnce(&mut Measurement)) -> Measurement {
    let mut wanted = queued("lectern", "level");
    wanted.create_time = Some(prost_types::Timestamp {
        seconds: i64::try_from(START_S).unwrap() + night * 86_400,
        nanos: 0,
    });
    let created = store.create(&[wanted], None).unwrap().remove(0);
    let mut ended = succeeded(&created, night as f64);
    change(&mut ended);
    store.finish(&ended).unwrap();
    store.get(&ended.name).unwrap()
}

#[test]
fn a_history_has_the_figures_of_succeeded_live_measurements_of_its_link_in_order_of_time() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let second = at_night(&store, 2, |_| ());
    at_night(&store, 1, |_| ());
    at_night(&store, 3, |one| one.is_match = true);
    at_night(&store, 4, |one| one.recorded = true);
    at_night(&store, 5, |one| one.set_state(State::Failed));
    kept(&store, "drum-riser", "level", 9.0);
    kept(&store, "lectern", "response", 9.0);
    assert_eq!(values(&store, &of_gain("links/lectern")), [1.0, 2.0]);
    let since = HistoryQuery {
        since: second.create_time,
        ..of_gain("lectern")
    };
    let history = store.history(&since).unwrap();
    assert_eq!(history.points.len(), 1);
    assert_eq!(history.points[0].measurement, second.name);
    assert_eq!(store.history(&of_gain("bar")).unwrap(), History::default());
}

#[test]
fn figures_of_one_band_are_one_history_wherever_in_it_the_extreme_lay() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let at = |pairs: &[(&str, f64)]| Struct {
        fields: pairs
            .iter()
            .map(|(key, number)| {
                let kind = Some(Kind::NumberValue(*number));
                ((*key).to_owned(), Value { kind })
            })
            .collect(),
    };
    for (night, hz) in [(0, 24.1), (1, 60.0)] {
        at_night(&store, night, |one| {
            one.figures[0].at = Some(at(&[
                ("from_hz", 20.0),
                ("to_hz", 63.0),
                ("frequency_hz", hz),
            ]));
        });
    }
    let band = |to_hz| HistoryQuery {
        at: Some(at(&[("to_hz", to_hz), ("from_hz", 20.0)])),
        ..of_gain("lectern")
    };
    assert_eq!(values(&store, &band(63.0)), [0.0, 1.0]);
    assert!(values(&store, &band(125.0)).is_empty());
    assert!(values(&store, &of_gain("lectern")).is_empty());
}

#[test]
fn another_setup_and_a_new_baseline_begin_the_history_anew() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let with = |value: &str| {
        let value = value.to_owned();
        |one: &mut Measurement| drop(one.setup.insert("input".to_owned(), value))
    };
    for night in 0..3 {
        at_night(&store, night, with("mic"));
    }
    assert_eq!(store.history(&of_gain("lectern")).unwrap().anew, 0);
    at_night(&store, 3, with("line"));
    let first = at_night(&store, 4, with("line"));
    assert_eq!(store.history(&of_gain("lectern")).unwrap().anew, 3);
    let time = first.create_time.unwrap();
    store
        .set_baseline("lectern", "level", &first.name, time)
        .unwrap();
    let history = store.history(&of_gain("lectern")).unwrap();
    assert_eq!((history.anew, history.points.len()), (4, 5));
}

#[test]
fn a_file_of_schema_3_gets_its_histories_from_its_results_at_the_next_start() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let one = at_night(&store, 1, |_| ());
    drop(store);
    let file = dir.path().join("goodwire.sqlite3");
    let connection = Connection::open(&file).unwrap();
    let back = "DROP INDEX judgements_by_outcome; DROP TABLE figures; DROP TABLE series;
                DROP TABLE outbox; DROP TABLE watches;
                PRAGMA user_version = 3;";
    connection.execute_batch(back).unwrap();
    drop(connection);
    let store = open(dir.path());
    let history = store.history(&of_gain("lectern")).unwrap();
    assert_eq!(history.points[0].measurement, one.name);
    assert_eq!(store.get(&one.name).unwrap(), one);
}

#[test]
fn curves_older_than_400_days_go_and_figures_baselines_matches_and_failures_stay() {
    let dir = tempfile::tempdir().unwrap();
    let clock = clock();
    let store = Store::open(dir.path(), clock.clone()).unwrap();
    let plain = kept(&store, "lectern", "level", 0.0);
    let base = kept(&store, "lectern", "level", 1.0);
    let time = base.create_time.unwrap();
    store
        .set_baseline("lectern", "level", &base.name, time)
        .unwrap();
    let matched = at_night(&store, 0, |one| one.is_match = true);
    let broken = at_night(&store, 0, |one| {
        one.verdict.as_mut().unwrap().set_outcome(Outcome::Fail);
    });
    let drifted = at_night(&store, 0, |one| {
        one.verdict.as_mut().unwrap().set_outcome(Outcome::Drift);
    });
    assert_eq!(store.drop_curves(400).unwrap(), 0);
    clock.advance(std::time::Duration::from_secs(401 * 86_400));
    let young = kept(&store, "lectern", "level", 2.0);
    assert_eq!(store.drop_curves(400).unwrap(), 1);
    let now = store.get(&plain.name).unwrap();
    assert!(now.curves.is_empty());
    assert_eq!(now.figures, plain.figures);
    for one in [base, matched, broken, drifted, young] {
        assert_eq!(store.get(&one.name).unwrap(), one);
    }
}

#[test]
fn a_list_by_verdict_has_those_alone_and_its_pages_follow_on() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    for night in 0..5 {
        at_night(&store, night, |one| {
            let outcome = if night % 2 == 0 {
                Outcome::Fail
            } else {
                Outcome::Pass
            };
            one.verdict.as_mut().unwrap().set_outcome(outcome);
        });
    }
    let mut query = ListQuery {
        outcome: Outcome::Fail,
        page_size: 2,
        ..ListQuery::default()
    };
    let first = store.list(&query).unwrap();
    assert_eq!(first.measurements.len(), 2);
    query.page_token = first.next_page_token;
    let second = store.list(&query).unwrap();
    assert_eq!(
        (second.measurements.len(), second.next_page_token.as_str()),
        (1, "")
    );
    let of_another = ListQuery {
        outcome: Outcome::Pass,
        ..query
    };
    assert!(matches!(
        store.list(&of_another),
        Err(StoreError::PageToken)
    ));
}

#[test]
fn a_history_of_1000_nights_among_8_links_is_read_within_50_ms() {
    let dir = tempfile::tempdir().unwrap();
    drop(open(dir.path()));
    let connection = Connection::open(dir.path().join("goodwire.sqlite3")).unwrap();
    // 8 links with 10 figures each, 1000 nights: 80 000 rows, as `finish` writes them.
    let fill = "
        WITH RECURSIVE k(n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM k WHERE n < 79)
        INSERT INTO series SELECT n + 1, 'link-' || (n / 10), 'level', 'figure-' || (n % 10), x'', 'dB' FROM k;
        WITH RECURSIVE night(n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM night WHERE n < 999)
        INSERT INTO figures SELECT id, n * 86400000000000, randomblob(16), 7, n, 0.1 FROM night, series;";
    connection.execute_batch(fill).unwrap();
    drop(connection);
    let store = open(dir.path());
    let query = HistoryQuery {
        figure: "figure-3".to_owned(),
        ..of_gain("link-5")
    };
    let begun = Instant::now();
    let history = store.history(&query).unwrap();
    let took = begun.elapsed();
    assert_eq!(history.points.len(), 1000);
    assert!(took.as_millis() < 50, "took {took:?}");
}
