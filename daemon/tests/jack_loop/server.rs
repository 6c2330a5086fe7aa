//! `jackd` with the dummy driver, under a name of its own, one at a time on this machine.

use std::{
    fs::File,
    os::unix::process::CommandExt as _,
    path::Path,
    process::{Child, Command, Stdio},
    sync::{Mutex, MutexGuard, PoisonError},
    thread,
    time::{Duration, Instant},
};

/// Frames in one period of the server that most tests use.
pub const PERIOD_FRAMES: usize = 1024;
/// Rate of the server in Hz.
pub const RATE_HZ: u32 = 48_000;

/// One test at a time, in this process and on this machine.
pub struct Turn {
    _in_this_process: MutexGuard<'static, ()>,
    _on_this_machine: File,
}

static IN_THIS_PROCESS: Mutex<()> = Mutex::new(());

impl Turn {
    /// Waits for this test's turn; `None`, with one line of text, where there is no `jackd`.
    pub fn take() -> Option<Self> {
        let in_this_process = IN_THIS_PROCESS
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        let found = std::env::var_os("PATH").is_some_and(|path| {
            std::env::split_paths(&path).any(|folder| Path::new(&folder).join("jackd").exists())
        });
        if !found {
            println!("SKIPPED: jackd is not installed");
            return None;
        }
        let lock = File::create(std::env::temp_dir().join("goodwire-jack-tests.lock")).unwrap();
        lock.lock().unwrap();
        // SAFETY: this is the one writer, and whoever reads it (libjack) runs under this lock.
        unsafe { std::env::set_var("JACK_DEFAULT_SERVER", SERVER_NAME) };
        jack::set_logger(jack::LoggerType::None);
        Some(Self {
            _in_this_process: in_this_process,
            _on_this_machine: lock,
        })
    }
}

/// Name of the server. It is the same for all: JACK has eight places for names on a machine, and
/// a killed server's place is only free for a server of the same name.
pub const SERVER_NAME: &str = "goodwire-test";

/// A running server; dropping it ends it.
pub struct Server {
    child: Child,
}

impl Server {
    /// Starts a server and waits until it takes clients.
    pub fn start(period_frames: usize) -> Self {
        let mut command = Command::new("jackd");
        command
            .args([
                "-n",
                SERVER_NAME,
                "-r",
                "-m",
                "-d",
                "dummy",
                "-P",
                "2",
                "-C",
                "2",
            ])
            .args(["-r", &RATE_HZ.to_string(), "-p", &period_frames.to_string()])
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null());
        // SAFETY: prctl is one system call, which may be made between fork and exec. It ends the
        // server when this test's thread ends, however that comes about.
        unsafe {
            command.pre_exec(
                || match libc::prctl(libc::PR_SET_PDEATHSIG, libc::SIGTERM) {
                    0 => Ok(()),
                    _ => Err(std::io::Error::last_os_error()),
                },
            );
        }
        let server = Self {
            child: command.spawn().unwrap(),
        };
        eventually("the server takes clients", || {
            jack::Client::new("probe", jack::ClientOptions::NO_START_SERVER).is_ok()
        });
        server
    }

    /// Ends the server as a crash would.
    pub fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Process id of the server.
    pub fn pid(&self) -> i32 {
        i32::try_from(self.child.id()).unwrap()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // Asked to end, it gives its name back. Some tests have ended it already.
        if matches!(self.child.try_wait(), Ok(None)) {
            // SAFETY: the signal goes to the child, which was not waited for yet.
            unsafe { libc::kill(self.pid(), libc::SIGTERM) };
            let begun = Instant::now();
            while matches!(self.child.try_wait(), Ok(None)) {
                if begun.elapsed() > Duration::from_secs(5) {
                    let _ = self.child.kill();
                }
                thread::sleep(Duration::from_millis(5));
            }
        }
    }
}

/// Waits until `holds`, at most ten seconds.
pub fn eventually(what: &str, mut holds: impl FnMut() -> bool) {
    let begun = Instant::now();
    while !holds() {
        assert!(begun.elapsed() < Duration::from_secs(10), "never: {what}");
        thread::sleep(Duration::from_millis(10));
    }
}
