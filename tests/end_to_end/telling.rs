//! How people hear of the nights: a message through a program of theirs, and metrics over HTTP.

use std::{
    fs,
    io::{Read, Write},
    net::{TcpListener, TcpStream},
    time::Duration,
};

use goodwire_tests::{
    command_line::goodwire,
    daemon::Daemon,
    eventually::eventually,
    rig::{CELLAR, NIGHTLY},
};

/// Asks for a path over HTTP/1.1; gives the whole answer.
fn get(port: u16, host: &str, path: &str) -> String {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).expect("it is served");
    let request = format!("GET {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n");
    stream.write_all(request.as_bytes()).expect("it is taken");
    let mut answer = String::new();
    stream.read_to_string(&mut answer).expect("an answer");
    answer
}

#[tokio::test]
async fn a_message_of_a_failing_round_goes_out_even_after_a_kill() {
    let folder = tempfile::tempdir().expect("a folder");
    let [gate, told] = ["gate", "told"].map(|name| folder.path().join(name));
    let script = format!("test -e {} && cat > {}", gate.display(), told.display());
    let messages = format!("[messages]\ncommand = [\"/bin/sh\", \"-c\", \"{script}\"]\n");
    let daemon = Daemon::start(&format!("{CELLAR}{NIGHTLY}{messages}"));
    assert_eq!(
        goodwire(&daemon, &["rounds", "run", "nightly"]).code,
        Some(2)
    );
    // The program refuses until the gate is there; the message is kept through the kill.
    let daemon = daemon.kill_and_start_again();
    assert!(!told.exists());
    fs::write(&gate, "").expect("it can be written to");
    let daemon = daemon.kill_and_start_again();
    let said = eventually("the message is there", Duration::from_secs(20), || async {
        fs::read_to_string(&told)
            .ok()
            .filter(|text| text.ends_with('\n'))
    })
    .await;
    let first = said.lines().next().expect("it says something");
    assert_eq!(
        first,
        "lantern-cellar: nightly FAIL, 1 of 2 links needs attention (simulated)"
    );
    assert!(said.contains("above the limit of 2 ms"), "{said}");
    drop(daemon);
}

#[test]
fn metrics_tell_the_outcome_and_the_page_answers_localhost_alone() {
    // A port that was free a moment ago.
    let port = TcpListener::bind("127.0.0.1:0")
        .and_then(|listener| listener.local_addr())
        .expect("a free port")
        .port();
    let page = format!("[page]\nlisten = \"127.0.0.1:{port}\"\n");
    let daemon = Daemon::start(&format!("{CELLAR}{NIGHTLY}{page}"));
    assert_eq!(
        goodwire(&daemon, &["rounds", "run", "nightly"]).code,
        Some(2)
    );
    let report = get(port, "localhost", "/");
    assert!(
        report.contains("<html") && report.contains("lectern"),
        "{report}"
    );
    assert!(get(port, "localhost", "/runs/none").contains("404 Not Found"));
    let metrics = get(port, "localhost", "/metrics");
    for line in [
        "goodwire_check_outcome{link=\"lectern\",analysis=\"latency\"} 2",
        "goodwire_round_outcome{round=\"nightly\"} 2",
        "goodwire_interface_ready 1",
    ] {
        assert!(metrics.contains(line), "{line} is missing:\n{metrics}");
    }
    assert!(metrics.contains("text/plain; version=0.0.4"), "{metrics}");
    assert!(get(port, "localhost", "/readyz").contains("200 OK"));
    assert!(get(port, "rebound.example", "/metrics").contains("421"));
}
