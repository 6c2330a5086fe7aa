//! SIGKILL at random moments: what was told is there.
//!
//! The test starts itself as a child, which creates and finishes measurements as fast as it can
//! and tells each one after the store has acknowledged it. The number of kills is
//! `GOODWIRE_KILLS`, 100 where it is not set.

use std::{
    collections::BTreeMap,
    io::{BufRead, BufReader, Write},
    process::{Command, Stdio},
    time::Duration,
};

use super::*;

const TEST: &str = "store::tests::kills::all_that_was_told_is_there_after_100_kills";
const DIR: &str = "GOODWIRE_KILLED_STORE";

#[test]
fn all_that_was_told_is_there_after_100_kills() {
    if let Some(dir) = std::env::var_os(DIR) {
        tell_for_ever(Path::new(&dir));
    }
    let kill_count = std::env::var("GOODWIRE_KILLS").map_or(100, |text| text.parse().unwrap());
    let dir = tempfile::tempdir().unwrap();
    let mut told = BTreeMap::new();
    // A generator of random numbers is not worth a dependency: the halves of Knuth's MMIX will do.
    let mut random = 1_u64;
    for _ in 0..kill_count {
        random = random
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let now = run_and_kill(dir.path(), Duration::from_micros((random >> 33) % 60_000));
        let store = Store::open(dir.path(), clock()).unwrap();
        assert!(store.notes().is_empty(), "{:?}", store.notes());
        for (name, word) in &now {
            check(&store, name, word);
        }
        told.extend(now);
    }
    let store = Store::open(dir.path(), clock()).unwrap();
    for (name, word) in &told {
        check(&store, name, word);
    }
    let integrity: String = store
        .read(|c| Ok(c.query_row("PRAGMA integrity_check", [], |row| row.get(0))?))
        .unwrap();
    assert_eq!(integrity, "ok");
    let finished = told
        .values()
        .filter(|word| word.as_str() == "finished")
        .count();
    println!(
        "{kill_count} kills, {} measurements told, {finished} finished, 0 lost",
        told.len()
    );
    assert!(
        finished > kill_count,
        "the child hardly ran: {finished} finished"
    );
}

/// The child: never returns.
fn tell_for_ever(dir: &Path) -> ! {
    let store = open(dir);
    let mut out = std::io::stdout();
    // The test runner may have begun a line of its own.
    writeln!(out).unwrap();
    loop {
        let measurement = store
            .create(&[queued("lectern", "level")], None)
            .unwrap()
            .remove(0);
        writeln!(out, "told created {}", measurement.name).unwrap();
        store
            .finish(&succeeded(&measurement, value_of(&measurement.name)))
            .unwrap();
        writeln!(out, "told finished {}", measurement.name).unwrap();
    }
}

/// A number that belongs to the name, so that a mixed-up result shows.
fn value_of(name: &str) -> f64 {
    name.bytes().map(f64::from).sum()
}

/// Runs the child for a while after its first word; returns what it told of each measurement.
fn run_and_kill(dir: &Path, after: Duration) -> BTreeMap<String, String> {
    let mut child = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", TEST, "--nocapture"])
        .env(DIR, dir)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap());
    let mut told = BTreeMap::new();
    let mut hear = |line: &str| {
        // Half a line was not told.
        if let Some(("told", rest)) = line.strip_suffix('\n').and_then(|l| l.split_once(' ')) {
            let (word, name) = rest.split_once(' ').unwrap();
            told.insert(name.to_owned(), word.to_owned());
        }
    };
    let mut line = String::new();
    while !line.starts_with("told") {
        line.clear();
        assert!(
            lines.read_line(&mut line).unwrap() > 0,
            "the child ended by itself"
        );
    }
    hear(&line);
    std::thread::sleep(after);
    child.kill().unwrap();
    child.wait().unwrap();
    loop {
        line.clear();
        if lines.read_line(&mut line).unwrap() == 0 {
            return told;
        }
        hear(&line);
    }
}

fn check(store: &Store, name: &str, word: &str) {
    let found = store.get(name).unwrap();
    let interrupted = found
        .reason
        .as_ref()
        .is_some_and(|reason| reason.id == "interrupted");
    match (word, found.state()) {
        ("created", State::Failed) => assert!(interrupted, "{name}"),
        (_, State::Succeeded) => {
            assert_eq!(found.figures[0].value, Some(value_of(name)), "{name}");
            assert_eq!(found.curves[0].y[0], value_of(name), "{name}");
            assert_eq!(found.verdict.unwrap().outcome(), Outcome::Pass, "{name}");
        }
        (_, state) => panic!("{name} was told as {word}, and is {state:?}"),
    }
}
