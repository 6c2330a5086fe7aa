//! What has to go out by each way, through restarts and interruptions.

use goodwire_proto::v1::{Run, run};
use prost_types::Timestamp;

use super::*;
use crate::store::new_run_name;

/// A run of the nightly round that runs, due at the start of the tests.
fn running() -> Run {
    let due = i64::try_from(START_S).unwrap();
    Run {
        name: new_run_name(&*clock()),
        round: "rounds/nightly".into(),
        state: run::State::Running.into(),
        due_time: Some(Timestamp {
            seconds: due,
            nanos: 0,
        }),
        ..Run::default()
    }
}

fn names(store: &Store, way: &str) -> Vec<String> {
    let waiting = store.outbox(way).unwrap().into_iter();
    waiting.map(|waiting| waiting.run.name).collect()
}

#[test]
fn a_message_waits_by_each_way_until_that_way_is_done() {
    let dir = tempfile::tempdir().unwrap();
    let mut run = running();
    let store = open(dir.path());
    store.begin_run(&run, "").unwrap();
    run.set_state(run::State::Ended);
    store.end_run(&run, true).unwrap();
    assert_eq!(store.messages_waiting().unwrap(), 1);
    store.address_messages(&["command", "webhook"]).unwrap();
    store.address_messages(&["command", "webhook"]).unwrap();
    assert_eq!(store.messages_waiting().unwrap(), 2);
    store.take_message("command", &run.name).unwrap();
    drop(store);
    let store = open(dir.path());
    store.settle_outbox(&["command", "webhook"]).unwrap();
    assert_eq!(names(&store, "command"), Vec::<String>::new());
    assert_eq!(names(&store, "webhook"), [run.name]);
}

#[test]
fn a_way_that_is_configured_no_more_leaves_nothing_behind() {
    let dir = tempfile::tempdir().unwrap();
    let mut run = running();
    let store = open(dir.path());
    store.begin_run(&run, "").unwrap();
    run.set_state(run::State::Ended);
    store.end_run(&run, true).unwrap();
    store.address_messages(&["command", "mail"]).unwrap();
    store.settle_outbox(&["mail"]).unwrap();
    assert_eq!(store.messages_waiting().unwrap(), 1);
    store.settle_outbox(&[]).unwrap();
    assert_eq!(store.messages_waiting().unwrap(), 0);
}

#[test]
fn an_interrupted_run_is_told_and_its_due_date_run_once_more_but_not_twice() {
    let dir = tempfile::tempdir().unwrap();
    let first = running();
    open(dir.path()).begin_run(&first, "").unwrap();
    let store = open(dir.path());
    store.settle_outbox(&["command"]).unwrap();
    assert_eq!(names(&store, "command"), [first.name.as_str()]);
    let reason = store.run(&first.name).unwrap().reason.unwrap();
    assert_eq!(reason.id, "interrupted");
    let second = running();
    assert_eq!(store.begin_run(&second, "").unwrap().name, second.name);
    drop(store);
    let store = open(dir.path());
    store.settle_outbox(&["command"]).unwrap();
    assert_eq!(names(&store, "command").len(), 2);
    let third = running();
    assert_eq!(store.begin_run(&third, "").unwrap().name, second.name);
}
