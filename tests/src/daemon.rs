//! A `goodwired` of the test's own.

use std::{
    fs,
    io::{BufRead, BufReader},
    os::unix::process::ExitStatusExt,
    path::{Path, PathBuf},
    process::{Child, Command, ExitStatus, Stdio},
    thread,
    time::{Duration, Instant},
};

use tempfile::TempDir;

use crate::{binary, client::Client};

/// How long it may take until it listens, on a machine that is busy with other tests.
const START_TIMEOUT: Duration = Duration::from_secs(20);

/// A running daemon with a socket and a state folder of its own. Killed when dropped.
#[derive(Debug)]
pub struct Daemon {
    child: Child,
    start: Start,
    folder: TempDir,
    /// What it listens on, as it said.
    pub listening: Vec<String>,
    /// From the start of the process until it said so.
    pub ready_after: Duration,
}

/// How a daemon is started.
#[derive(Debug, Clone, Default)]
pub struct Start {
    arguments: Vec<String>,
    variables: Vec<(String, String)>,
    listener_count: usize,
    state: Option<PathBuf>,
}

impl Start {
    /// On a Unix socket in the daemon's folder.
    #[must_use]
    pub fn new() -> Self {
        Self {
            listener_count: 1,
            ..Self::default()
        }
    }

    /// With more arguments.
    #[must_use]
    pub fn argument(mut self, argument: &str) -> Self {
        self.arguments.push(argument.into());
        self
    }

    /// Listening on one more place.
    #[must_use]
    pub fn listen(mut self, place: &str) -> Self {
        self.listener_count += 1;
        self.argument("--listen").argument(place)
    }

    /// With a variable in its environment.
    #[must_use]
    pub fn variable(mut self, name: &str, value: &str) -> Self {
        self.variables.push((name.into(), value.into()));
        self
    }

    /// Keeping its results in that folder.
    #[must_use]
    pub fn state(mut self, folder: &Path) -> Self {
        self.state = Some(folder.into());
        self
    }

    /// Starts it with a new folder.
    #[must_use]
    pub fn run(self, configuration: &str) -> Daemon {
        let folder = TempDir::with_prefix("goodwire-").expect("a temporary folder can be made");
        fs::write(folder.path().join("goodwire.toml"), configuration)
            .expect("it can be written to");
        self.run_in(folder)
    }

    /// Starts it in the folder of an earlier one: same configuration, same results.
    ///
    /// # Panics
    /// Where it does not come to listen.
    #[must_use]
    pub fn run_in(self, folder: TempDir) -> Daemon {
        let begun = Instant::now();
        let mut child = self
            .command(folder.path())
            .spawn()
            .expect("goodwired can be run");
        let stdout = child.stdout.take().expect("it is piped");
        let count = self.listener_count;
        let lines = thread::spawn(move || {
            let lines = BufReader::new(stdout).lines().take(count);
            lines
                .map_while(Result::ok)
                .map(|line| (line, Instant::now()))
                .collect::<Vec<_>>()
        });
        while !lines.is_finished() && begun.elapsed() < START_TIMEOUT {
            thread::sleep(Duration::from_millis(1));
        }
        let mut daemon = Daemon {
            child,
            start: self,
            folder,
            listening: Vec::new(),
            ready_after: Duration::ZERO,
        };
        assert!(lines.is_finished(), "not ready in time:\n{}", daemon.log());
        let lines = lines.join().expect("reading lines cannot panic");
        assert_eq!(
            lines.len(),
            count,
            "it ended before it listened:\n{}",
            daemon.log()
        );
        daemon.ready_after = lines[count - 1].1 - begun;
        daemon.listening = lines
            .iter()
            .map(|(line, _)| {
                line.strip_prefix("listening ")
                    .expect("as promised")
                    .to_owned()
            })
            .collect();
        daemon
    }

    /// Runs a daemon that is meant to refuse: its exit code and what it said on standard error.
    ///
    /// # Panics
    /// Where it does not end by itself within some seconds.
    #[must_use]
    pub fn refused(self, folder: &Path, configuration: &str) -> (Option<i32>, String) {
        fs::write(folder.join("goodwire.toml"), configuration).expect("it can be written to");
        let mut child = self.command(folder).spawn().expect("goodwired can be run");
        let begun = Instant::now();
        while child.try_wait().expect("it is ours").is_none() {
            if begun.elapsed() > START_TIMEOUT {
                child.kill().expect("it is ours");
                panic!("it did not refuse");
            }
            thread::sleep(Duration::from_millis(2));
        }
        let status = child.wait().expect("it is ours");
        let said = fs::read_to_string(folder.join("log")).expect("it was made");
        (status.code(), said)
    }

    fn command(&self, folder: &Path) -> Command {
        let log = fs::File::create(folder.join("log")).expect("it can be written to");
        let mut command = Command::new(binary("goodwired"));
        command
            .arg("--config")
            .arg(folder.join("goodwire.toml"))
            .arg("--state")
            .arg(self.state.clone().unwrap_or_else(|| folder.join("state")))
            .arg("--listen")
            .arg(format!("unix:{}", folder.join("d.sock").display()))
            .args(&self.arguments)
            .envs(self.variables.iter().map(|(name, value)| (name, value)))
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(log);
        command
    }
}

impl Daemon {
    /// Starts one on a configuration.
    #[must_use]
    pub fn start(configuration: &str) -> Self {
        Start::new().run(configuration)
    }

    /// Its process id.
    #[must_use]
    pub fn pid(&self) -> i32 {
        i32::try_from(self.child.id()).expect("a process id fits")
    }

    /// The path of its Unix socket.
    #[must_use]
    pub fn socket(&self) -> PathBuf {
        self.folder.path().join("d.sock")
    }

    /// The folder of its results.
    #[must_use]
    pub fn state(&self) -> PathBuf {
        self.folder.path().join("state")
    }

    /// What `--server` takes.
    #[must_use]
    pub fn server(&self) -> String {
        format!("unix:{}", self.socket().display())
    }

    /// A folder for the test's own files.
    #[must_use]
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// A connection to it.
    pub async fn connect(&self) -> Client {
        Client::over_unix(&self.socket()).await
    }

    /// What it logged.
    #[must_use]
    pub fn log(&self) -> String {
        fs::read_to_string(self.folder.path().join("log")).unwrap_or_default()
    }

    /// True while the process runs.
    pub fn is_running(&mut self) -> bool {
        matches!(self.child.try_wait(), Ok(None))
    }

    /// Sends SIGTERM.
    pub fn ask_to_end(&self) {
        // SAFETY: kill() only takes numbers; the child has not been waited for, so its id is its own.
        let sent = unsafe { libc::kill(self.pid(), libc::SIGTERM) };
        assert_eq!(sent, 0, "the daemon is gone already");
    }

    /// Waits until it has ended; gives its status and for how long was waited.
    ///
    /// # Panics
    /// Where it has not ended within `limit`.
    pub fn wait(&mut self, limit: Duration) -> (ExitStatus, Duration) {
        let begun = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().expect("it is ours") {
                return (status, begun.elapsed());
            }
            assert!(
                begun.elapsed() < limit,
                "not ended within {limit:?}:\n{}",
                self.log()
            );
            thread::sleep(Duration::from_millis(2));
        }
    }

    /// Ends it in good order and starts another one in the same way and folder.
    #[must_use]
    pub fn end_and_start_again(mut self) -> Self {
        self.ask_to_end();
        self.wait(START_TIMEOUT);
        self.start_again()
    }

    /// Sends SIGKILL and starts another one in the same way and folder.
    ///
    /// # Panics
    /// Where it ended otherwise before.
    #[must_use]
    pub fn kill_and_start_again(mut self) -> Self {
        self.child.kill().expect("it is ours");
        let status = self.child.wait().expect("it is ours");
        assert_eq!(
            status.signal(),
            Some(libc::SIGKILL),
            "it had ended before:\n{}",
            self.log()
        );
        self.start_again()
    }

    fn start_again(&mut self) -> Self {
        let unused = TempDir::with_prefix("goodwire-").expect("a temporary folder can be made");
        let folder = std::mem::replace(&mut self.folder, unused);
        self.start.clone().run_in(folder)
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        // It may have ended already; then there is nothing to do.
        let _ = self.child.kill();
        let _ = self.child.wait();
        if thread::panicking() {
            eprintln!("log of the daemon:\n{}", self.log());
        }
    }
}
