//! What a start finds in the state folder.

use rusqlite::Connection;

use goodwire_proto::plugin::v1::OpenRequest;

use super::*;
use crate::store::{KeptWatch, connection, schema};

const FILE: &str = "goodwire.sqlite3";

#[test]
fn what_was_queued_or_running_is_failed_interrupted_after_a_restart() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let done = kept(&store, "lectern", "level", 0.0);
    let both = [queued("lectern", "level"), queued("drum-riser", "level")];
    let mut both = store.create(&both, None).unwrap();
    both[1].set_state(State::Running);
    store.update(&both[1]).unwrap();
    drop(store);
    let store = open(dir.path());
    assert_eq!(store.interrupted(), [&*both[0].name, &*both[1].name]);
    for (measurement, was) in both.iter().zip(["queued", "running"]) {
        let found = store.get(&measurement.name).unwrap();
        let reason = found.reason.clone().unwrap();
        assert_eq!(
            (found.state(), reason.id.as_str()),
            (State::Failed, "interrupted")
        );
        assert!(reason.text.contains(was), "{}", reason.text);
        assert!(found.end_time.is_some());
    }
    assert_eq!(store.get(&done.name).unwrap(), done);
}

#[test]
fn a_second_store_on_one_folder_is_refused_with_folder_and_process() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let error = Store::open(dir.path(), clock()).unwrap_err();
    let own = std::process::id();
    assert!(
        matches!(&error, StoreError::InUse { dir: d, pid } if d == dir.path() && *pid == Some(own))
    );
    let text = error.to_string();
    assert!(text.contains(&dir.path().display().to_string()) && text.contains(&own.to_string()));
    drop(store);
    open(dir.path());
}

#[test]
fn a_folder_that_cannot_be_made_is_refused_with_its_name() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("a-file");
    std::fs::write(&file, "").unwrap();
    let error = Store::open(&file.join("state"), clock()).unwrap_err();
    assert!(matches!(error, StoreError::Folder { .. }), "{error}");
    assert!(error.to_string().contains("a-file/state"), "{error}");
    assert!(error.to_string().contains("--state"), "{error}");
}

#[test]
fn a_damaged_file_is_moved_aside_and_a_new_one_begun_with_a_note() {
    for damage in [
        b"this is no database at all, and long enough".to_vec(),
        damaged_page(),
    ] {
        let dir = tempfile::tempdir().unwrap();
        std::fs::write(dir.path().join(FILE), &damage).unwrap();
        let store = open(dir.path());
        let note = &store.notes()[0];
        assert_eq!(note.id, "store-damaged");
        let aside = dir.path().join(format!("{FILE}.damaged-{START_S}000"));
        assert!(
            note.text.contains(&aside.display().to_string()),
            "{}",
            note.text
        );
        assert_eq!(std::fs::read(aside).unwrap(), damage);
        let measurement = kept(&store, "lectern", "level", 0.0);
        drop(store);
        let store = open(dir.path());
        assert!(store.notes().is_empty(), "the new file is sound");
        assert_eq!(store.get(&measurement.name).unwrap(), measurement);
    }
}

/// A real file with 20 measurements, one of whose pages is overwritten.
fn damaged_page() -> Vec<u8> {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    for _ in 0..20 {
        kept(&store, "lectern", "level", 0.0);
    }
    drop(store);
    let mut bytes = std::fs::read(dir.path().join(FILE)).unwrap();
    bytes[4096..8192].fill(0xa5);
    bytes
}

#[test]
fn a_newer_schema_is_refused_and_left_alone() {
    let dir = tempfile::tempdir().unwrap();
    drop(open(dir.path()));
    let file = dir.path().join(FILE);
    Connection::open(&file)
        .unwrap()
        .pragma_update(None, "user_version", 99)
        .unwrap();
    let error = Store::open(dir.path(), clock()).unwrap_err();
    let known_here = schema::MIGRATIONS.len() as i64;
    assert!(
        matches!(error, StoreError::NewerSchema { found: 99, known, .. } if known == known_here),
        "{error}"
    );
    assert!(error.to_string().contains("schema 99"), "{error}");
    assert!(file.exists());
}

#[test]
fn a_database_of_another_program_is_refused_and_left_alone() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join(FILE);
    let other = Connection::open(&file).unwrap();
    other
        .execute_batch("CREATE TABLE pets (name TEXT)")
        .unwrap();
    drop(other);
    let error = Store::open(dir.path(), clock()).unwrap_err();
    assert!(matches!(error, StoreError::Foreign { .. }), "{error}");
    assert!(file.exists());
}

#[test]
fn an_older_schema_is_copied_then_migrated_and_keeps_everything() {
    let dir = tempfile::tempdir().unwrap();
    let measurement = kept(&open(dir.path()), "lectern", "level", 0.0);
    let file = dir.path().join(FILE);
    let mut connection = connection::open_for_writing(&file).unwrap();
    let next = [
        schema::MIGRATIONS.as_slice(),
        &["CREATE TABLE later (x INTEGER) STRICT"],
    ]
    .concat();
    let old = schema::MIGRATIONS.len() as i64;
    schema::migrate(&mut connection, &file, &next).unwrap();
    let count = |connection: &Connection, sql| -> i64 {
        connection.query_row(sql, [], |row| row.get(0)).unwrap()
    };
    assert_eq!(count(&connection, "PRAGMA user_version"), old + 1);
    assert_eq!(count(&connection, "SELECT count(*) FROM later"), 0);
    assert_eq!(count(&connection, "SELECT count(*) FROM measurements"), 1);
    let backup = Connection::open(schema::backup_file(&file, old)).unwrap();
    assert_eq!(count(&backup, "PRAGMA user_version"), old);
    let id: String = backup
        .query_row("SELECT id FROM measurements", [], |row| row.get(0))
        .unwrap();
    assert!(measurement.name.ends_with(&id));
}

#[test]
fn a_file_of_the_first_schema_is_migrated_and_can_keep_sounds() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join(FILE);
    let mut connection = connection::open_for_writing(&file).unwrap();
    schema::migrate(&mut connection, &file, &schema::MIGRATIONS[..1]).unwrap();
    drop(connection);
    let store = open(dir.path());
    let name = heard(&store, 0.5);
    assert_eq!(
        store.sound(&name, "difference").unwrap(),
        Some(vec![0.5; 3])
    );
}

#[test]
fn a_migration_that_fails_leaves_the_file_as_it_was() {
    let dir = tempfile::tempdir().unwrap();
    drop(open(dir.path()));
    let file = dir.path().join(FILE);
    let mut connection = connection::open_for_writing(&file).unwrap();
    let bad = [
        schema::MIGRATIONS.as_slice(),
        &["CREATE TABLE later (x INTEGER) STRICT; SELECT nonsense;"],
    ]
    .concat();
    assert!(schema::migrate(&mut connection, &file, &bad).is_err());
    drop(connection);
    open(dir.path());
}

#[test]
fn sqlite_before_3_51_3_is_refused_and_the_bundled_one_is_not() {
    let error = schema::check_sqlite(3_051_002).unwrap_err().to_string();
    assert!(error.contains("3.51.2"), "{error}");
    schema::check_sqlite(3_051_003).unwrap();
    schema::check_sqlite(rusqlite::version_number()).unwrap();
}

#[test]
fn what_is_told_is_in_wal_mode_with_synchronous_full() {
    let dir = tempfile::tempdir().unwrap();
    let connection = connection::open_for_writing(&dir.path().join(FILE)).unwrap();
    let mode: String = connection
        .pragma_query_value(None, "journal_mode", |r| r.get(0))
        .unwrap();
    let synchronous: i64 = connection
        .pragma_query_value(None, "synchronous", |r| r.get(0))
        .unwrap();
    assert_eq!((mode.as_str(), synchronous), ("wal", 2));
}

#[test]
fn a_full_disk_is_said_and_costs_nothing_that_was_stored() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let first = kept(&store, "lectern", "level", 0.0);
    let set_room = |page_count: i64| {
        store
            .write(move |transaction| {
                transaction
                    .pragma_update_and_check(None, "max_page_count", page_count, |_| Ok(()))?;
                Ok(())
            })
            .unwrap();
    };
    // SQLite never goes below what is in use: from here on, no page can be added.
    set_room(1);
    let mut large = queued("lectern", "level");
    large.findings = vec![Finding {
        id: "x".repeat(1 << 20),
        text: String::new(),
    }];
    large.analysis = "x".repeat(1 << 20);
    assert!(matches!(
        store.create(&[large.clone()], None),
        Err(StoreError::Full)
    ));
    assert_eq!(store.get(&first.name).unwrap(), first);
    set_room(1 << 30);
    store.create(&[large], None).unwrap();
}

#[test]
fn a_running_watch_of_which_something_is_kept_is_not_interrupted_and_forgotten_once_it_ended() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let mut watch = store
        .create(&[queued("lectern", "dropout")], None)
        .unwrap()
        .remove(0);
    watch.set_state(State::Running);
    store.update(&watch).unwrap();
    let kept = KeptWatch {
        measurement: watch.name.clone(),
        open: OpenRequest {
            state: vec![1, 2, 3],
            ..OpenRequest::default()
        },
        resumes: true,
        frame: 48_000,
        boot: "a-boot".into(),
        since_boot: std::time::Duration::from_millis(1_500),
        time: watch.create_time.unwrap(),
    };
    store
        .keep_watch(&KeptWatch {
            frame: 24_000,
            ..kept.clone()
        })
        .unwrap();
    store.keep_watch(&kept).unwrap();
    drop(store);
    let store = open(dir.path());
    assert!(store.interrupted().is_empty());
    assert_eq!(
        store.kept_watches().unwrap(),
        std::slice::from_ref(&kept),
        "the newest alone"
    );
    watch.set_state(State::Succeeded);
    store.finish(&watch).unwrap();
    assert!(!store.keeps_watch(&watch.name).unwrap());
    // What comes too late is not kept.
    store.keep_watch(&kept).unwrap();
    assert_eq!(store.kept_watches().unwrap(), []);
}
