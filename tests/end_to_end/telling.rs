//! How people hear of the nights: messages by a program, a webhook and mail, and metrics over HTTP.
//! What is sent is received by `tests/python/receiver.py`, which knows nothing of the daemon.

use std::{
    fs,
    io::{BufRead, BufReader, Read, Write},
    net::{TcpListener, TcpStream},
    path::Path,
    process::{Child, Command, Stdio},
    sync::mpsc,
    thread,
    time::{Duration, Instant},
};

use goodwire_proto::v1::RunRoundRequest;
use goodwire_tests::{
    command_line::goodwire,
    daemon::{Daemon, Start},
    eventually::eventually,
    rig::{CELLAR, NIGHTLY, cellar_in_real_time},
};

/// Asks for a path over HTTP/1.1; gives the whole answer.
pub(super) fn get(port: u16, host: &str, path: &str) -> String {
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

/// A port that was free a moment ago, and the configuration of a page on it.
pub(super) fn page() -> (u16, String) {
    let port = TcpListener::bind("127.0.0.1:0")
        .and_then(|listener| listener.local_addr())
        .expect("a free port")
        .port();
    (port, format!("[page]\nlisten = \"127.0.0.1:{port}\"\n"))
}

/// The secret of the tests' webhooks: `whsec_` and the base64 of 32 bytes.
const SECRET: &str = "whsec_Z29vZHdpcmUgZ29vZHdpcmUgZ29vZHdpcmUgMTIzNDU=";

/// A receiver in Python; killed when dropped.
struct Receiver {
    child: Child,
    lines: mpsc::Receiver<serde_json::Value>,
    port: u16,
}

impl Receiver {
    /// Receives what `kind` says, `http` or `smtp`, and answers with those codes in turn, the last
    /// one for ever. With `tls` it has a certificate of its own making in the folder.
    fn start(kind: &str, codes: &str, folder: &Path, tls: bool) -> Self {
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("python/receiver.py");
        let mut command = Command::new("python3");
        command.arg(script).args([kind, codes]).arg(folder);
        command.args(tls.then_some("tls"));
        let mut child = command
            .env("SECRET", SECRET)
            .stdout(Stdio::piped())
            .spawn()
            .expect("python3 is there");
        let out = BufReader::new(child.stdout.take().expect("it is piped"));
        let (sender, lines) = mpsc::channel();
        thread::spawn(move || {
            for line in out.lines().map_while(Result::ok) {
                let said = serde_json::from_str(&line).expect("it says JSON");
                if sender.send(said).is_err() {
                    return;
                }
            }
        });
        let mut receiver = Self {
            child,
            lines,
            port: 0,
        };
        let port = receiver.next()["port"].as_u64().expect("a port");
        receiver.port = u16::try_from(port).expect("a port");
        receiver
    }

    /// What it received next.
    fn next(&self) -> serde_json::Value {
        let limit = Duration::from_secs(20);
        self.lines.recv_timeout(limit).expect("it receives in time")
    }

    fn has_more(&self) -> bool {
        self.lines.try_recv().is_ok()
    }
}

impl Drop for Receiver {
    fn drop(&mut self) {
        // It may have ended already; then there is nothing to do.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The configuration of a webhook, with its secret in the folder.
fn webhook(url: &str, folder: &Path) -> String {
    let file = folder.join("webhook.secret");
    fs::write(&file, SECRET).expect("it can be written to");
    let file = file.display();
    format!("[messages.webhook]\nurl = \"{url}\"\nsecret_file = \"{file}\"\n")
}

#[test]
fn a_webhook_is_signed_and_comes_under_one_id_through_two_kills_and_then_never_again() {
    let folder = tempfile::tempdir().expect("a folder");
    let receiver = Receiver::start("http", "500,500,200", folder.path(), false);
    let url = format!("http://127.0.0.1:{}/links", receiver.port);
    let messages = webhook(&url, folder.path());
    let (port, page) = page();
    let daemon = Daemon::start(&format!("{CELLAR}{NIGHTLY}{messages}{page}"));
    assert_eq!(
        goodwire(&daemon, &["rounds", "run", "nightly"]).code,
        Some(2)
    );
    let first = receiver.next();
    // Each start tries at once what the last daemon did not bring there.
    let daemon = daemon.kill_and_start_again();
    let second = receiver.next();
    let daemon = daemon.kill_and_start_again();
    let third = receiver.next();
    for one in [&first, &second, &third] {
        assert_eq!(one["signed"], true, "{one}");
        assert_eq!(one["id"], first["id"]);
        assert_eq!(one["body"], first["body"]);
    }
    let body = &first["body"];
    assert_eq!(body["type"], "run.ended");
    assert_eq!(body["data"]["site"], "lantern-cellar");
    assert_eq!(body["data"]["run"]["outcome"], "FAIL");
    assert_eq!(body["data"]["run"]["simulated"], true);
    let headline = "lantern-cellar: nightly FAIL, 1 of 2 links needs attention (simulated)";
    assert_eq!(body["data"]["headline"], headline);
    assert!(body["data"]["run"]["checks"][0].get("curves").is_none());
    // Every 2xx is the end of it once the daemon has noted it: after another kill nothing comes.
    let begun = Instant::now();
    while !get(port, "localhost", "/metrics").contains("goodwire_messages_waiting 0\n") {
        assert!(begun.elapsed() < Duration::from_secs(20), "it still waits");
        thread::sleep(Duration::from_millis(5));
    }
    let daemon = daemon.kill_and_start_again();
    assert_eq!(
        goodwire(&daemon, &["rounds", "run", "nightly"]).code,
        Some(2)
    );
    let next = receiver.next();
    assert_ne!(next["id"], first["id"]);
    assert!(!receiver.has_more());
    assert!(!daemon.log().contains(SECRET));
}

#[tokio::test]
async fn a_run_that_a_kill_interrupted_is_told_as_such() {
    let folder = tempfile::tempdir().expect("a folder");
    let receiver = Receiver::start("http", "200", folder.path(), false);
    let url = format!("http://127.0.0.1:{}/links", receiver.port);
    let cellar = cellar_in_real_time();
    let messages = webhook(&url, folder.path());
    let daemon = Daemon::start(&format!("{cellar}{NIGHTLY}{messages}"));
    let request = RunRoundRequest {
        name: "nightly".into(),
        ..RunRoundRequest::default()
    };
    // By the clock it takes some seconds, of which none has passed yet.
    let mut client = daemon.connect().await;
    let answer = client.rounds.run_round(request).await;
    let begun = answer.expect("it is begun").into_inner();
    drop(client);
    let daemon = daemon.kill_and_start_again();
    let got = receiver.next();
    assert_eq!(got["signed"], true);
    assert_eq!(got["body"]["type"], "run.interrupted");
    assert_eq!(got["body"]["data"]["run"]["name"], begun.name);
    let headline = "lantern-cellar: nightly UNMEASURED, it was interrupted before its end";
    assert_eq!(got["body"]["data"]["headline"], headline);
    assert!(!receiver.has_more());
    drop(daemon);
}

#[test]
fn https_goes_to_a_certificate_that_the_machine_trusts_and_to_no_other() {
    let folder = tempfile::tempdir().expect("a folder");
    let receiver = Receiver::start("http", "200", folder.path(), true);
    let url = format!("https://localhost:{}/links", receiver.port);
    let configuration = format!("{CELLAR}{NIGHTLY}{}", webhook(&url, folder.path()));
    let daemon = Daemon::start(&configuration);
    let run = ["rounds", "run", "nightly"];
    assert_eq!(goodwire(&daemon, &run).code, Some(2));
    let begun = Instant::now();
    while !daemon.log().contains("its message was not sent: localhost") {
        assert!(
            begun.elapsed() < Duration::from_secs(20),
            "{}",
            daemon.log()
        );
        thread::sleep(Duration::from_millis(5));
    }
    assert!(daemon.log().contains("UnknownIssuer"), "{}", daemon.log());
    assert!(!receiver.has_more());
    drop(daemon);
    let certificate = folder.path().join("certificate.pem");
    let trusting = Start::new().variable("SSL_CERT_FILE", &certificate.display().to_string());
    let daemon = trusting.run(&configuration);
    assert_eq!(goodwire(&daemon, &run).code, Some(2));
    assert_eq!(receiver.next()["signed"], true);
}

#[test]
fn mail_goes_over_starttls_with_a_password_that_no_log_has() {
    let folder = tempfile::tempdir().expect("a folder");
    let receiver = Receiver::start("smtp", "250", folder.path(), true);
    let password = folder.path().join("mail.password");
    fs::write(&password, "brass lantern 77\n").expect("it can be written to");
    let mail = format!(
        "[messages.mail]\nserver = \"localhost:{}\"\nfrom = \"Rack <rack@cellar.example>\"\n\
         to = [\"sound@cellar.example\"]\nuser = \"rack\"\npassword_file = \"{}\"\n",
        receiver.port,
        password.display()
    );
    let certificate = folder.path().join("certificate.pem");
    let trusting = Start::new().variable("SSL_CERT_FILE", &certificate.display().to_string());
    let daemon = trusting.run(&format!("{CELLAR}{NIGHTLY}{mail}"));
    assert_eq!(
        goodwire(&daemon, &["rounds", "run", "nightly"]).code,
        Some(2)
    );
    let got = receiver.next();
    assert_eq!(got["tls"], true, "{got}");
    assert_eq!(got["login"], "rack:brass lantern 77");
    assert_eq!(got["to"], serde_json::json!(["sound@cellar.example"]));
    let subject = "lantern-cellar: nightly FAIL, 1 of 2 links needs attention (simulated)";
    assert_eq!(got["subject"], subject);
    let text = got["text"].as_str().expect("a text");
    assert!(text.contains("above the limit of 2 ms"), "{text}");
    assert!(!daemon.log().contains("brass lantern"));
}

#[test]
fn metrics_tell_the_outcome_and_the_page_answers_localhost_alone() {
    let (port, page) = page();
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
