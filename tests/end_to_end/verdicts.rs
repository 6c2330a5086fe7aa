//! Limits, baselines and the exit codes that tell them.

use goodwire_tests::{
    command_line::{Said, goodwire},
    daemon::Daemon,
    rig::CELLAR,
};

/// A limit on the gain of `lectern`, which is -3 dB.
fn with_limit(limit: &str) -> String {
    format!(
        "{CELLAR}\n[[limit]]\nlink = \"lectern\"\nanalysis = \"level\"\nfigure = \"gain\"\n{limit}"
    )
}

fn outcome(said: &Said) -> String {
    said.json()["verdict"]["outcome"]
        .as_str()
        .unwrap_or_default()
        .to_owned()
}

#[test]
fn exit_code_0_says_pass_or_that_no_limit_applies() {
    let daemon = Daemon::start(&with_limit("min = -4.0\nmax = -2.0"));
    let said = goodwire(&daemon, &["--json", "measure", "lectern", "level"]);
    assert_eq!(
        (said.code, outcome(&said).as_str()),
        (Some(0), "PASS"),
        "{}",
        said.err
    );
    let said = goodwire(&daemon, &["--json", "measure", "drum-riser", "level"]);
    assert_eq!(
        (said.code, outcome(&said).as_str()),
        (Some(0), ""),
        "{}",
        said.err
    );
}

#[test]
fn exit_code_2_says_fail_and_the_worst_of_several_links_counts() {
    let daemon = Daemon::start(&with_limit("min = -1.0"));
    let said = goodwire(&daemon, &["--json", "measure", "lectern", "level"]);
    assert_eq!(
        (said.code, outcome(&said).as_str()),
        (Some(2), "FAIL"),
        "{}",
        said.err
    );
    let all = goodwire(&daemon, &["--json", "measure", "all", "level"]);
    assert_eq!(all.code, Some(2), "{}", all.err);
    assert_eq!(all.json()["measurements"].as_array().unwrap().len(), 2);
    let name = said.json()["name"].as_str().unwrap().to_owned();
    assert_eq!(goodwire(&daemon, &["show", &name]).code, Some(2));
}

#[test]
fn exit_code_1_says_drift_from_the_baseline() {
    // The same folder, the same setup; somebody turned the link down by 1 dB.
    let daemon = Daemon::start(&with_limit("min = -9.0\ndrift = 0.5"));
    let said = goodwire(&daemon, &["--json", "measure", "lectern", "level"]);
    let name = said.json()["name"].as_str().unwrap().to_owned();
    assert_eq!(goodwire(&daemon, &["baseline", "set", &name]).code, Some(0));
    let said = goodwire(&daemon, &["--json", "measure", "lectern", "level"]);
    assert_eq!(
        (said.code, outcome(&said).as_str()),
        (Some(0), "PASS"),
        "{}",
        said.err
    );
    let changed = with_limit("min = -9.0\ndrift = 0.5").replace("gain_db = -3.0", "gain_db = -4.0");
    std::fs::write(daemon.folder().join("goodwire.toml"), &changed).unwrap();
    let daemon = daemon.kill_and_start_again();
    let said = goodwire(&daemon, &["--json", "measure", "lectern", "level"]);
    assert_eq!(
        (said.code, outcome(&said).as_str()),
        (Some(1), "DRIFT"),
        "{}",
        said.err
    );
    // Another setup is not compared with.
    let other = changed.replace("channel = \"2\"", "channel = \"9\"");
    std::fs::write(daemon.folder().join("goodwire.toml"), other).unwrap();
    let daemon = daemon.kill_and_start_again();
    let said = goodwire(&daemon, &["--json", "measure", "lectern", "level"]);
    assert_eq!(
        (said.code, outcome(&said).as_str()),
        (Some(3), "UNMEASURED"),
        "{}",
        said.err
    );
    assert!(
        said.out.contains("channel"),
        "the key that changed is named: {}",
        said.out
    );
}

#[test]
fn exit_code_3_says_that_it_cannot_be_told() {
    // The gain is -3.00 dB within a thousandth or so: nobody can tell on which side of it that lies.
    let daemon = Daemon::start(CELLAR);
    let said = goodwire(&daemon, &["--json", "measure", "lectern", "level"]);
    let document = said.json();
    let gain = &document["figures"]
        .as_array()
        .unwrap()
        .iter()
        .find(|f| f["id"] == "gain")
        .unwrap();
    let at_the_edge = format!("max = {:.17}", gain["value"].as_f64().unwrap());
    let daemon = Daemon::start(&with_limit(&at_the_edge));
    let said = goodwire(&daemon, &["--json", "measure", "lectern", "level"]);
    assert_eq!(
        (said.code, outcome(&said).as_str()),
        (Some(3), "UNMEASURED"),
        "{}",
        said.out
    );
    // A figure that a limit wants and that could not be had: this link never clips.
    let wanting = format!(
        "{CELLAR}\n[[limit]]\nlink = \"drum-riser\"\nanalysis = \"level\"\n\
         figure = \"clip_point\"\nmin = -10.0"
    );
    let daemon = Daemon::start(&wanting);
    let said = goodwire(&daemon, &["--json", "measure", "drum-riser", "level"]);
    println!(
        "a clip point that was never reached: {:?} {}",
        said.code,
        outcome(&said)
    );
    assert!(said.json()["verdict"]["judgements"].as_array().is_some());
    assert_eq!(
        goodwire(&daemon, &["measure", "lectern"]).code,
        Some(3),
        "wrong usage"
    );
}
