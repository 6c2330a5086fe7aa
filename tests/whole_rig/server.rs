//! `jackd` with the dummy driver under the tests' own name, one test at a time on this machine, and
//! a daemon on it.

use std::{
    fs::File,
    io::Write,
    path::Path,
    process::{Child, Command, Stdio},
    sync::{Mutex, MutexGuard, PoisonError},
    thread,
    time::{Duration, Instant},
};

use goodwire_tests::daemon::{Daemon, Start};

/// Frames in one period.
const PERIOD_FRAMES: &str = "1024";
/// Rate in Hz.
const RATE_HZ: &str = "48000";
/// How long the server may take to come up.
const START_TIMEOUT: Duration = Duration::from_secs(30);
/// Before others by so much, where that is allowed: JACK wants its time in time.
const NICE: i32 = -15;

static IN_THIS_PROCESS: Mutex<()> = Mutex::new(());

/// One test at a time, in this process and on this machine: JACK needs its time in time.
pub struct Turn {
    _in_this_process: MutexGuard<'static, ()>,
    _on_this_machine: File,
}

impl Turn {
    /// Waits for this test's turn; `None`, with one line of text, where there is no `jackd`.
    pub fn take() -> Option<Self> {
        let in_this_process = IN_THIS_PROCESS
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        let paths = std::env::var_os("PATH").unwrap_or_default();
        if !std::env::split_paths(&paths).any(|folder| Path::new(&folder).join("jackd").exists()) {
            // Not println!, which the test runner keeps to itself.
            let mut errors = std::io::stderr();
            writeln!(errors, "SKIPPED: jackd is not installed").unwrap();
            return None;
        }
        let lock = File::create(std::env::temp_dir().join("goodwire-jack-tests.lock")).unwrap();
        lock.lock().unwrap();
        // SAFETY: this is the one writer, and whoever reads it (libjack) runs under this lock.
        unsafe { std::env::set_var("JACK_DEFAULT_SERVER", NAME) };
        // SAFETY: takes numbers alone. Without the right to it, it changes nothing; children inherit.
        unsafe { libc::setpriority(libc::PRIO_PROCESS, 0, NICE) };
        jack::set_logger(jack::LoggerType::None);
        Some(Self {
            _in_this_process: in_this_process,
            _on_this_machine: lock,
        })
    }
}

/// Name of the server, the same for every test: JACK has eight places for names on a machine, and
/// a killed server's place is only free for a server of the same name.
pub const NAME: &str = "goodwire-test";

/// A running server; dropping it ends it.
pub struct Server(Child);

impl Server {
    /// Starts it and waits until it takes clients.
    pub fn start() -> Self {
        let child = Command::new("jackd")
            .args(["-n", NAME, "-r", "-m", "-d", "dummy", "-P", "2", "-C", "2"])
            .args(["-r", RATE_HZ, "-p", PERIOD_FRAMES])
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let server = Self(child);
        let begun = Instant::now();
        while jack::Client::new("probe", jack::ClientOptions::NO_START_SERVER).is_err() {
            assert!(begun.elapsed() < START_TIMEOUT, "jackd takes no clients");
            thread::sleep(Duration::from_millis(20));
        }
        server
    }

    /// Ends it as a crash would.
    pub fn kill(mut self) {
        self.0.kill().unwrap();
        self.0.wait().unwrap();
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // It may have been killed already.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// A daemon on that server. `safety` is the inside of its section `[safety]`.
pub fn daemon(safety: &str) -> Daemon {
    daemon_into(["dut:in_1", "dut:in_2"], safety)
}

/// The same with its two sends plugged into these ports.
pub fn daemon_into(sends: [&str; 2], safety: &str) -> Daemon {
    let configuration = format!(
        r#"
site = "dummy"
[interface]
backend = "jack"
rate = {RATE_HZ}
[interface.jack]
sends = {sends:?}
returns = ["dut:out_1", "dut:out_2"]
[reference]
send = 2
return = 2
[safety]
{safety}
[[link]]
name = "lectern"
send = 1
return = 1
"#
    );
    Start::new()
        .variable("JACK_DEFAULT_SERVER", NAME)
        .run(&configuration)
}
