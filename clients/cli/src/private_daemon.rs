//! A `goodwired` of our own, for as long as one command needs it.

use std::{
    env, fs,
    io::{BufRead, BufReader},
    os::unix::process::CommandExt,
    path::{Path, PathBuf},
    process::{Child, ChildStdout, Command, Stdio},
    thread,
    time::{Duration, Instant},
};

use anyhow::{Context, anyhow, bail};
use rustix::process::{Pid, Signal, kill_process, set_parent_process_death_signal};
use tempfile::TempDir;
use tokio::sync::oneshot;

use crate::connect::Address;

/// How long it may take until it listens: it probes every plugin first.
const START_TIMEOUT: Duration = Duration::from_secs(20);
/// How long it may take to end before it is killed; it promises 5 s.
const END_TIMEOUT: Duration = Duration::from_secs(7);
/// Longest path of a Unix socket that every system takes, in bytes.
const SOCKET_PATH_BYTES_MAX: usize = 100;

/// A running daemon with a temporary socket and state. Ends when dropped.
#[derive(Debug)]
pub struct PrivateDaemon {
    child: Child,
    folder: TempDir,
}

impl PrivateDaemon {
    /// Starts a daemon and waits until it listens. It keeps its results in `state`, where one is
    /// given, and else loses them at its end.
    ///
    /// Must be called on a thread that lives as long as the process: the daemon is ended when
    /// the thread that started it is gone, so that even `kill -9` of us leaves none behind.
    ///
    /// # Errors
    /// Where there is no `goodwired`, or what it said before it gave up.
    pub async fn start(configuration: &str, state: Option<&Path>) -> anyhow::Result<Self> {
        let program = find_program()?;
        let folder = temporary_folder()?;
        let (child, stdout) = spawn(&program, folder.path(), configuration, state)?;
        let listening = listening(stdout);
        // From here on, dropping `daemon` ends the child.
        let mut daemon = Self { child, folder };
        match tokio::time::timeout(START_TIMEOUT, listening).await {
            Ok(Ok(())) => Ok(daemon),
            Ok(Err(_)) => {
                let status = daemon.child.wait()?;
                bail!(
                    "{} ended with {status}:\n{}",
                    program.display(),
                    daemon.log()
                )
            }
            Err(_) => bail!(
                "{} was not ready within {} s:\n{}",
                program.display(),
                START_TIMEOUT.as_secs(),
                daemon.log()
            ),
        }
    }

    /// Where it listens.
    pub fn address(&self) -> Address {
        Address::Unix(self.folder.path().join("goodwire.sock"))
    }

    /// The last lines that it logged.
    fn log(&self) -> String {
        let text = fs::read_to_string(self.folder.path().join("log")).unwrap_or_default();
        let lines: Vec<_> = text.lines().collect();
        lines[lines.len().saturating_sub(8)..].join("\n")
    }
}

impl Drop for PrivateDaemon {
    fn drop(&mut self) {
        let asked = i32::try_from(self.child.id())
            .ok()
            .and_then(Pid::from_raw)
            .is_some_and(|pid| kill_process(pid, Signal::TERM).is_ok());
        let deadline = Instant::now() + END_TIMEOUT;
        while asked && Instant::now() < deadline {
            if !matches!(self.child.try_wait(), Ok(None)) {
                return;
            }
            thread::sleep(Duration::from_millis(1));
        }
        // Nothing is left to be done about a child that cannot even be killed.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Starts the program with its standard output on a pipe and its log in the folder.
fn spawn(
    program: &Path,
    folder: &Path,
    configuration: &str,
    state: Option<&Path>,
) -> anyhow::Result<(Child, ChildStdout)> {
    let config = folder.join("goodwire.toml");
    fs::write(&config, configuration)?;
    let mut command = Command::new(program);
    command
        .arg("--config")
        .arg(&config)
        .arg("--listen")
        .arg(format!("unix:{}", folder.join("goodwire.sock").display()))
        .arg("--state")
        .arg(state.unwrap_or(&folder.join("state")))
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(fs::File::create(folder.join("log"))?)
        // Ctrl-C on the terminal is for us; we end the daemon when we are done.
        .process_group(0);
    // SAFETY: between fork and exec the closure makes one system call (prctl) and touches
    // neither memory that is allocated nor locks.
    unsafe {
        command.pre_exec(|| Ok(set_parent_process_death_signal(Some(Signal::TERM))?));
    }
    let mut child = command
        .spawn()
        .with_context(|| format!("{} cannot be started", program.display()))?;
    let stdout = child.stdout.take().expect("standard output is a pipe");
    Ok((child, stdout))
}

/// Resolves when the daemon has printed that it listens; fails when its output ends before.
fn listening(stdout: ChildStdout) -> oneshot::Receiver<()> {
    let (tell, told) = oneshot::channel();
    // The thread reads on to the end: a full pipe would halt the daemon.
    thread::spawn(move || {
        let mut tell = Some(tell);
        for line in BufReader::new(stdout).lines().map_while(Result::ok) {
            if line.starts_with("listening ")
                && let Some(tell) = tell.take()
            {
                // Whoever waited may have given up.
                let _ = tell.send(());
            }
        }
    });
    told
}

/// `goodwired` beside our own executable, else on the PATH.
fn find_program() -> anyhow::Result<PathBuf> {
    let beside = env::current_exe().ok().and_then(|own| {
        // Our own path may be a link into the folder where both really are.
        let own = own.canonicalize().unwrap_or(own);
        Some(own.parent()?.join("goodwired"))
    });
    let path = env::var_os("PATH").unwrap_or_default();
    beside
        .into_iter()
        .chain(env::split_paths(&path).map(|folder| folder.join("goodwired")))
        .find(|program| program.is_file())
        .ok_or_else(|| {
            anyhow!(
                "no goodwired is running, and none is installed beside goodwire or on the PATH\n  \
                 start one with `goodwired --config FILE`, or say where it listens with --server"
            )
        })
}

/// A folder of our own whose path is short enough for a socket in it.
fn temporary_folder() -> anyhow::Result<TempDir> {
    let make = |parent: &Path| {
        tempfile::Builder::new()
            .prefix("goodwire-")
            .tempdir_in(parent)
            .with_context(|| format!("no temporary folder can be made in {}", parent.display()))
    };
    let usual = env::temp_dir();
    let room = SOCKET_PATH_BYTES_MAX - "/goodwire-abcdef/goodwire.sock".len();
    if usual.as_os_str().len() <= room {
        make(&usual)
    } else {
        make(Path::new("/tmp"))
    }
}
