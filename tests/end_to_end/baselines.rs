//! Baselines that move from one machine to another.

use std::fs;

use goodwire_tests::{command_line::goodwire, daemon::Daemon, rig::CELLAR};

const DRIFT: &str = r#"
[[limit]]
analysis = "latency"
figure = "latency"
drift = 0.5
"#;

#[test]
fn a_baseline_of_one_machine_finds_the_drift_on_another() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("cellar.json");
    let file = file.to_str().expect("plain letters");
    let old = Daemon::start(CELLAR);
    let measured = goodwire(&old, &["measure", "lectern", "latency", "--json"]);
    let name = measured.json()["name"]
        .as_str()
        .expect("it has one")
        .to_owned();
    assert_eq!(goodwire(&old, &["baseline", "set", &name]).code, Some(0));
    assert_eq!(goodwire(&old, &["baseline", "export", file]).code, Some(0));
    // The new machine stands in the same room; the link has got 2 ms slower on the way.
    let slower = CELLAR.replace("delay_ms = 3.125", "delay_ms = 5.125");
    let new = Daemon::start(&format!("{slower}{DRIFT}"));
    assert_eq!(goodwire(&new, &["baseline", "import", file]).code, Some(0));
    assert_eq!(
        goodwire(&new, &["baseline", "import", file]).code,
        Some(0),
        "twice is once"
    );
    let listed = goodwire(&new, &["baseline", "list", "--json"]).json();
    assert_eq!(listed["baselines"][0]["measurement"], name.as_str());
    let drifted = goodwire(&new, &["measure", "lectern", "latency", "--json"]);
    assert_eq!(drifted.code, Some(1), "{}", drifted.out);
}

#[test]
fn baselines_of_links_that_are_not_here_are_told_and_left_out() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("cellar.json");
    let path = file.to_str().expect("plain letters");
    let old = Daemon::start(CELLAR);
    let measured = goodwire(&old, &["measure", "lectern", "latency", "--json"]);
    let name = measured.json()["name"]
        .as_str()
        .expect("it has one")
        .to_owned();
    assert_eq!(goodwire(&old, &["baseline", "set", &name]).code, Some(0));
    assert_eq!(goodwire(&old, &["baseline", "export", path]).code, Some(0));
    let text = fs::read_to_string(&file).expect("it was written");
    fs::write(&file, text.replace("links/lectern", "links/lecturn")).expect("it can be written");
    let said = goodwire(&old, &["baseline", "import", path]);
    assert_eq!(said.code, Some(3));
    assert!(
        said.err.contains("lectern"),
        "the nearest name: {}",
        said.err
    );
    fs::write(&file, "{}").expect("it can be written");
    assert_eq!(goodwire(&old, &["baseline", "import", path]).code, Some(3));
}
