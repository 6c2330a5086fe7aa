//! Receivers of the test's own on loopback: ones that fail, hang, redirect or are gone.

use std::{
    io::{BufRead, BufReader, Read, Write},
    net::{TcpListener, TcpStream},
    path::Path,
    sync::mpsc,
    thread,
};

use goodwire_proto::v1::{run::State, verdict::Outcome};

use super::*;
use crate::{
    clock::TestClock,
    config::Config,
    measure::{queue::Queue, watch::Watchers},
    plugins::Registry,
    store::{Store, new_run_name},
};

const START_S: u64 = 1_714_521_600;
/// Pauses of a hundredth of a second, so that tests need not wait.
const FAST: Pace = Pace {
    look: Duration::from_millis(10),
    pauses: [Duration::from_millis(10); 4],
};
/// Whatever is waited for is there long before, also on a busy machine.
const LIMIT: Duration = Duration::from_secs(10);

const RIG: &str = "site = \"lantern-cellar\"\n[interface]\nbackend = \"simulated\"\nrate = 48000\n\
                   [[link]]\nname = \"lectern\"\nsend = 1\nreturn = 1\n";

/// A desk with those messages, and a run of which a message has to go out.
fn desk(dir: &Path, messages: &str) -> (Arc<Desk>, Arc<TestClock>, Run) {
    let clock = Arc::new(TestClock::at(START_S));
    let config = Config::parse(&format!("{RIG}{messages}"), "rig.toml", &[]).unwrap();
    let desk = Desk {
        config: Arc::new(config),
        store: Store::open(dir, clock.clone()).unwrap(),
        registry: Arc::new(Registry::scan(&[], Path::new("none"))),
        watchers: Watchers::default(),
        queue: Queue::default(),
        watches: crate::measure::watches::Watches::default(),
        spool_dir: dir.to_owned(),
        clock: clock.clone(),
        message_counts: MessageCounts::default(),
    };
    let mut run = Run {
        name: new_run_name(&*clock),
        round: "rounds/nightly".into(),
        state: State::Running.into(),
        ..Run::default()
    };
    desk.store.begin_run(&run, "").unwrap();
    run.set_state(State::Ended);
    run.set_outcome(Outcome::Fail);
    desk.store.end_run(&run, true).unwrap();
    (Arc::new(desk), clock, run)
}

/// The configuration of a webhook to a port, with its secret in the folder.
fn webhook(dir: &Path, port: u16) -> String {
    let file = dir.join("secret");
    std::fs::write(&file, "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw\n").unwrap();
    let file = file.display();
    format!("[messages.webhook]\nurl = \"http://127.0.0.1:{port}/\"\nsecret_file = \"{file}\"\n")
}

/// Serves each connection by `answer`, which gets its number; gives the port.
fn serve<T: Send + 'static>(
    mut answer: impl FnMut(usize, TcpStream) -> T + Send + 'static,
) -> (u16, mpsc::Receiver<T>) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    let (told, heard) = mpsc::channel();
    thread::spawn(move || {
        for (number, stream) in listener.incoming().enumerate() {
            if told.send(answer(number, stream.unwrap())).is_err() {
                return;
            }
        }
    });
    (port, heard)
}

/// Reads an HTTP request and answers with a status line and headers; gives head and body.
fn http(stream: TcpStream, answer: &str) -> (String, String) {
    let mut lines = BufReader::new(stream);
    let (mut head, mut length) = (String::new(), 0);
    loop {
        let mut line = String::new();
        lines.read_line(&mut line).unwrap();
        let line = line.trim_end().to_ascii_lowercase();
        if let Some(count) = line.strip_prefix("content-length: ") {
            length = count.parse().unwrap();
        }
        if line.is_empty() {
            break;
        }
        head += &format!("{line}\n");
    }
    let mut body = vec![0; length];
    lines.read_exact(&mut body).unwrap();
    let answer = format!("HTTP/1.1 {answer}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n");
    lines.get_mut().write_all(answer.as_bytes()).unwrap();
    (head, String::from_utf8(body).unwrap())
}

fn header<'a>(head: &'a str, name: &str) -> &'a str {
    let mut lines = head.lines();
    let value = lines.find_map(|line| line.strip_prefix(&format!("{name}: ")));
    value.unwrap_or_else(|| panic!("no {name} in {head}"))
}

/// Runs the messengers of all ways until `done`.
fn send_until(desk: &Arc<Desk>, done: impl Fn(&Desk) -> bool) {
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let ending = CancellationToken::new();
    let ways = desk.config.messages.as_ref().unwrap().ways();
    for way in ways {
        runtime.spawn(keep_sending(Arc::clone(desk), way, FAST, ending.clone()));
    }
    let begun = Instant::now();
    while !done(desk) {
        assert!(begun.elapsed() < LIMIT, "not in time");
        thread::sleep(Duration::from_millis(2));
    }
    ending.cancel();
    runtime.shutdown_background();
}

#[test]
fn a_receiver_that_answers_500_twice_gets_the_same_id_thrice_and_the_command_runs_once() {
    let dir = tempfile::tempdir().unwrap();
    let (port, heard) = serve(|number, stream| {
        let answer = if number < 2 { "500 Oh" } else { "204 Well" };
        http(stream, answer)
    });
    let told = dir.path().join("told");
    let command = format!("cat >> {}", told.display());
    let messages = format!("[messages]\ncommand = [\"/bin/sh\", \"-c\", \"{command}\"]\n");
    let (desk, _, run) = desk(dir.path(), &(messages + &webhook(dir.path(), port)));
    send_until(&desk, |desk| desk.store.messages_waiting().unwrap() == 0);
    let asked: Vec<_> = heard.try_iter().collect();
    assert_eq!(asked.len(), 3);
    let id = format!("msg_{}", bare(&run.name));
    for (head, body) in &asked {
        assert_eq!(header(head, "webhook-id"), id);
        assert_eq!(header(head, "webhook-timestamp"), START_S.to_string());
        let body: serde_json::Value = serde_json::from_str(body).unwrap();
        assert_eq!(body["type"], "run.ended");
        assert_eq!(body["data"]["run"]["outcome"], "FAIL");
    }
    assert_eq!(desk.message_counts.of("webhook"), [1, 2, 0]);
    assert_eq!(desk.message_counts.of("command"), [1, 0, 0]);
    let told = std::fs::read_to_string(told).unwrap();
    assert_eq!(told.matches("lantern-cellar: nightly FAIL").count(), 1);
}

#[test]
fn a_receiver_that_never_answers_holds_up_no_command() {
    let dir = tempfile::tempdir().unwrap();
    // Connections are taken and kept open, and nothing is ever said.
    let (port, _kept) = serve(|_, stream| stream);
    let messages = "[messages]\ncommand = [\"/bin/true\"]\n".to_owned();
    let (desk, ..) = desk(dir.path(), &(messages + &webhook(dir.path(), port)));
    let begun = Instant::now();
    let is_sent = |desk: &Desk| desk.message_counts.of("command")[0] == 1;
    send_until(&desk, |desk| {
        is_sent(desk) && desk.store.outbox("command").unwrap().is_empty()
    });
    // Far less than the webhook is given until its timeout.
    assert!(begun.elapsed() < LIMIT);
    assert_eq!(desk.message_counts.of("webhook"), [0, 0, 0]);
    assert_eq!(desk.store.messages_waiting().unwrap(), 1);
}

#[test]
fn a_redirect_is_not_followed_and_is_no_delivery() {
    let dir = tempfile::tempdir().unwrap();
    let (port, heard) = serve(|number, stream| {
        let answer = [
            "302 There\r\nLocation: /there",
            "307 There\r\nLocation: /there",
        ];
        http(stream, answer.get(number).unwrap_or(&"200 Well"))
    });
    let (desk, ..) = desk(dir.path(), &webhook(dir.path(), port));
    send_until(&desk, |desk| desk.message_counts.of("webhook")[0] == 1);
    let asked: Vec<_> = heard.try_iter().map(|(head, _)| head).collect();
    assert_eq!(asked.len(), 3);
    let is_same = |head: &String| head.starts_with("post / http/1.1");
    assert!(asked.iter().all(is_same), "{asked:?}");
}

#[test]
fn a_receiver_that_is_gone_for_a_day_is_given_up_and_counted() {
    let dir = tempfile::tempdir().unwrap();
    // A port that nobody listens on any more.
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    drop(listener);
    let (desk, clock, _) = desk(dir.path(), &webhook(dir.path(), port));
    send_until(&desk, |desk| desk.message_counts.of("webhook")[1] >= 2);
    assert_eq!(desk.store.messages_waiting().unwrap(), 1);
    clock.advance(Duration::from_secs(86_401));
    send_until(&desk, |desk| desk.store.messages_waiting().unwrap() == 0);
    let [sent, _, given_up] = desk.message_counts.of("webhook");
    assert_eq!([sent, given_up], [0, 1]);
}

/// Talks SMTP (RFC 5321) far enough to take a mail; refuses its end with `last`.
fn smtp(stream: TcpStream, last: &str) -> String {
    let mut lines = BufReader::new(stream);
    let say = |lines: &mut BufReader<TcpStream>, text: &str| {
        lines.get_mut().write_all(format!("{text}\r\n").as_bytes())
    };
    let (mut talk, mut in_mail) = (String::new(), false);
    say(&mut lines, "220 cellar").unwrap();
    loop {
        let mut line = String::new();
        if lines.read_line(&mut line).unwrap_or(0) == 0 {
            return talk;
        }
        talk += &line;
        let word = line.split([' ', '\r']).next().unwrap_or_default();
        let answer = match word {
            "." if in_mail => {
                in_mail = false;
                last
            }
            _ if in_mail => continue,
            "DATA" => {
                in_mail = true;
                "354 go on"
            }
            "QUIT" => "221 bye",
            _ => "250 well",
        };
        let _ = say(&mut lines, answer);
        if word == "QUIT" {
            return talk;
        }
    }
}

#[test]
fn a_mail_that_is_refused_for_now_comes_again_under_the_same_message_id() {
    let dir = tempfile::tempdir().unwrap();
    let (port, heard) = serve(|number, stream| {
        let last = if number == 0 {
            "451 later"
        } else {
            "250 taken"
        };
        smtp(stream, last)
    });
    let mail = format!(
        "[messages.mail]\nserver = \"127.0.0.1:{port}\"\nfrom = \"Rack <rack@cellar.example>\"\n\
         to = [\"a@cellar.example\", \"b@cellar.example\"]\ntls = \"none\"\n"
    );
    let (desk, _, run) = desk(dir.path(), &mail);
    send_until(&desk, |desk| desk.message_counts.of("mail")[0] == 1);
    assert_eq!(desk.message_counts.of("mail"), [1, 1, 0]);
    let id = format!("Message-ID: <{}@cellar.example>\r\n", bare(&run.name));
    for _ in 0..2 {
        let talk = heard.recv_timeout(LIMIT).unwrap();
        for part in [
            id.as_str(),
            "RCPT TO:<a@cellar.example>",
            "RCPT TO:<b@cellar.example>",
            "Subject: lantern-cellar: nightly FAIL, nothing was measured\r\n",
            "Auto-Submitted: auto-generated\r\n",
            "More: goodwire rounds show",
        ] {
            assert!(talk.contains(part), "{part} is missing:\n{talk}");
        }
    }
}
