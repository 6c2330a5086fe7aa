//! The first day of a link: measured, limited, its baseline set, with somebody who answers.

use std::{
    fs,
    io::Write,
    process::{Command, Stdio},
};

use goodwire_tests::{binary, command_line::goodwire, daemon::Daemon, rig::CELLAR};

/// Commissions the lectern with these answers; gives the exit code and what was said.
fn commission(daemon: &Daemon, out: &str, answers: &str) -> (Option<i32>, String) {
    let mut child = Command::new(binary("goodwire"))
        .args([
            "--server",
            &daemon.server(),
            "commission",
            "lectern",
            "--out",
            out,
        ])
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it can be run");
    let mut input = child.stdin.take().expect("it is piped");
    input.write_all(answers.as_bytes()).expect("it is read");
    drop(input);
    let done = child.wait_with_output().expect("it ends");
    (
        done.status.code(),
        String::from_utf8_lossy(&done.stderr).into_owned(),
    )
}

#[test]
fn the_limits_that_are_proposed_pass_the_next_measurement_of_the_same_link() {
    let folder = tempfile::tempdir().expect("a folder");
    let papers = folder.path().join("lectern");
    let daemon = Daemon::start(CELLAR);
    let out = papers.to_str().expect("plain letters");
    let (code, said) = commission(&daemon, out, "\n\ny\ny\n");
    assert_eq!(code, Some(0), "{said}");
    let baselines = goodwire(&daemon, &["baseline", "list", "--json"]).json();
    assert_eq!(baselines["baselines"].as_array().map(Vec::len), Some(5));
    let page = fs::read_to_string(papers.join("page.txt")).expect("it was written");
    assert!(
        page.contains("SIMULATED") && page.contains("Accepted by"),
        "{page}"
    );
    let limits = fs::read_to_string(papers.join("limits.toml")).expect("it was written");
    let limited = Daemon::start(&format!("{CELLAR}{limits}"));
    for analysis in ["level", "response", "latency", "noise", "distortion"] {
        let again = goodwire(&limited, &["measure", "lectern", analysis, "--json"]);
        assert_eq!(again.json()["verdict"]["outcome"], "PASS", "{analysis}");
    }
}

#[test]
fn without_a_yes_nothing_is_set_or_written() {
    let folder = tempfile::tempdir().expect("a folder");
    let papers = folder.path().join("lectern");
    let daemon = Daemon::start(CELLAR);
    let out = papers.to_str().expect("plain letters");
    let (code, said) = commission(&daemon, out, "\n\nn\nn\n");
    assert_eq!(code, Some(0), "{said}");
    assert!(!papers.exists());
    let baselines = goodwire(&daemon, &["baseline", "list", "--json"]).json();
    assert_eq!(baselines["baselines"].as_array().map(Vec::len), Some(0));
    let (code, said) = commission(&daemon, out, "");
    assert_eq!(code, Some(3), "nobody put the cable in");
    assert!(said.contains("nobody answered"), "{said}");
}
