//! The audio threads of the real daemon make no system call beyond those with which libjack
//! waits for the server's cycle and hands it on (futex).
//!
//! Method: `strace -f -ttt` on `goodwired` with the JACK back end. The threads that libjack makes
//! inherit the name of the thread that opens the interface; those of them that wait for cycles
//! are the audio threads. Two seconds of their calls are counted, from well after the start.

use std::{
    collections::BTreeMap,
    fs,
    path::Path,
    process::{Child, Command, Stdio},
    thread,
    time::{Duration, Instant, SystemTime, UNIX_EPOCH},
};

use super::{
    clients::TestClient,
    server::{Server, Turn, eventually},
};

/// Name of the thread that opens interfaces, as the kernel keeps it.
const OPENER: &str = "open-interface";

const CONFIGURATION: &str = r#"
site = "test"
[interface]
backend = "jack"
rate = 48000
[interface.jack]
sends = ["dut:in_1", "dut:in_2"]
returns = ["dut:out_1", "dut:out_2"]
[reference]
send = 2
return = 2
[[link]]
name = "link"
send = 1
return = 1
"#;

/// The daemon under `strace`, which traces it from a process of its own (`-D`), so that signals
/// reach the daemon.
struct Traced(Child);

impl Traced {
    fn start(folder: &Path) -> Self {
        fs::write(folder.join("goodwire.toml"), CONFIGURATION).unwrap();
        let socket = format!("unix:{}", folder.join("socket").display());
        let child = Command::new("strace")
            .args(["-D", "-f", "-ttt", "-o"])
            .arg(folder.join("calls"))
            .arg(env!("CARGO_BIN_EXE_goodwired"))
            .arg("--config")
            .arg(folder.join("goodwire.toml"))
            .arg("--state")
            .arg(folder.join("state"))
            .args(["--listen", &socket])
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(fs::File::create(folder.join("log")).unwrap())
            .spawn()
            .unwrap();
        Self(child)
    }

    /// The daemon's threads whose name is the opener's.
    fn threads_of_opener(&self) -> Vec<u32> {
        let Ok(tasks) = fs::read_dir(format!("/proc/{}/task", self.0.id())) else {
            return Vec::new();
        };
        tasks
            .flatten()
            .filter(|task| {
                fs::read_to_string(task.path().join("comm")).is_ok_and(|name| name.trim() == OPENER)
            })
            .filter_map(|task| task.file_name().to_str()?.parse().ok())
            .collect()
    }
}

impl Drop for Traced {
    fn drop(&mut self) {
        // SAFETY: the signal goes to the process that this test started.
        unsafe { libc::kill(self.0.id().cast_signed(), libc::SIGTERM) };
        // Should it not end, its threads' calls are still worth looking at.
        let ended = || matches!(self.0.try_wait(), Ok(Some(_)));
        if !ended_within(Duration::from_secs(10), ended) {
            let _ = self.0.kill();
            let _ = self.0.wait();
        }
    }
}

fn ended_within(limit: Duration, mut ended: impl FnMut() -> bool) -> bool {
    let begun = Instant::now();
    while begun.elapsed() < limit {
        if ended() {
            return true;
        }
        thread::sleep(Duration::from_millis(20));
    }
    false
}

fn can_trace() -> bool {
    let mut trial = Command::new("strace");
    trial
        .args(["-o", "/dev/null", "true"])
        .stderr(Stdio::null());
    trial.status().is_ok_and(|status| status.success())
}

fn now_s() -> f64 {
    SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .unwrap()
        .as_secs_f64()
}

/// How often each thread made each call between two times. A line reads
/// `1234 1764060000.123456 futex(0x7f, FUTEX_WAIT, ...) = 0`.
fn count(text: &str, from_s: f64, to_s: f64) -> BTreeMap<u32, BTreeMap<String, u64>> {
    let mut counts = BTreeMap::<u32, BTreeMap<String, u64>>::new();
    for line in text.lines() {
        let mut words = line.split_whitespace();
        let (Some(thread), Some(time), Some(call)) = (words.next(), words.next(), words.next())
        else {
            continue;
        };
        let (Ok(thread), Ok(time_s)) = (thread.parse(), time.parse::<f64>()) else {
            continue;
        };
        // The second half of a call that was interrupted reads `<... futex resumed>`.
        let Some((name, _)) = call.split_once('(') else {
            continue;
        };
        if from_s <= time_s && time_s < to_s {
            *counts
                .entry(thread)
                .or_default()
                .entry(name.to_owned())
                .or_default() += 1;
        }
    }
    counts
}

#[test]
fn audio_threads_of_the_daemon_call_nothing_but_what_waits_for_the_cycle() {
    let Some(_turn) = Turn::take() else { return };
    if !can_trace() {
        println!("SKIPPED: strace is not installed or may not trace");
        return;
    }
    let _server = Server::start(1024);
    let _dut = TestClient::device_under_test(2);
    let folder = tempfile::tempdir().unwrap();
    let traced = Traced::start(folder.path());
    // Each of three clients has a thread for cycles and one for messages.
    eventually("the daemon has opened its interface", || {
        traced.threads_of_opener().len() == 6
    });
    thread::sleep(Duration::from_secs(1));
    let from_s = now_s();
    thread::sleep(Duration::from_secs(2));
    let to_s = now_s();
    let threads = traced.threads_of_opener();
    let daemon = format!("{} ", traced.0.id());
    drop(traced);

    let read = || fs::read_to_string(folder.path().join("calls")).unwrap();
    let is_last = |line: &str| line.starts_with(&daemon) && line.contains("+++ ");
    eventually("strace has written all", || read().lines().any(is_last));
    let calls = read();
    let mut counts = count(&calls, from_s, to_s);
    counts.retain(|thread, calls| {
        // 94 cycles; the threads for messages wait at a socket.
        threads.contains(thread) && calls.get("futex").is_some_and(|&count| count >= 40)
    });
    println!("calls in 2 s, by thread: {counts:?}");
    assert_eq!(counts.len(), 3, "sends, returns and the control client");
    for calls in counts.values() {
        let others: Vec<_> = calls.keys().filter(|name| *name != "futex").collect();
        assert!(others.is_empty(), "{others:?}");
    }
}
