//! One host process: started, spoken to with a deadline, killed with all that it started, reaped.

mod group;

use std::{
    io::{self, Read, Write},
    os::{
        fd::{AsFd, BorrowedFd, OwnedFd},
        unix::process::CommandExt,
    },
    path::Path,
    process::{ChildStderr, ChildStdin, ChildStdout, Command, ExitStatus, Stdio},
    sync::Arc,
    time::{Duration, Instant},
};

use rustix::{
    event::{PollFd, PollFlags, Timespec, poll},
    io::{Errno, ioctl_fionbio},
    pipe::fcntl_setpipe_size,
    process::{Pid, PidfdFlags, pidfd_open},
};

pub(super) use group::Group;

use super::log::Log;

/// How the GNU C library hands out memory in a host; others pass over it. A plugin takes and frees
/// vectors of megabytes by the dozen: what is freed stays with the process and is not asked of the
/// kernel again, page by page (glibc manual, "Memory Allocation Tunables"; 32 MiB is the largest
/// threshold that it takes). Huge pages would save more, where they do not cost a pause of 0.2 s.
const MEMORY: &str = "glibc.malloc.mmap_threshold=33554432:glibc.malloc.trim_threshold=268435456";
/// Bytes that each pipe of sound holds: a block goes through in one turn. The most that a process
/// without privileges may ask for (pipe(7)).
const PIPE_BYTES: usize = 1 << 20;

/// A running host. Reading and writing speak with it until [`Child::set_deadline`]'s time, and
/// keep what it prints. Dropping kills its whole process group and reaps it.
#[derive(Debug)]
pub(super) struct Child {
    process: std::process::Child,
    to: ChildStdin,
    from: ChildStdout,
    log_from: Option<ChildStderr>,
    /// Readable once the process has ended, even while something that it started holds its pipes.
    end: OwnedFd,
    group: Arc<Group>,
    plugin: String,
    log: Log,
    deadline: Instant,
}

impl Child {
    /// Starts `host` with the library at `path`; `plugin` names it in logs.
    ///
    /// # Errors
    /// Whatever the system gives.
    pub fn start(host: &Path, path: &Path, plugin: &str) -> io::Result<Self> {
        group::adopt_orphans();
        let mut process = Command::new(host)
            .arg(path)
            // The last lines of the log are to be the cause, not a list of addresses.
            .env("RUST_BACKTRACE", "0")
            .env("GLIBC_TUNABLES", MEMORY)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .process_group(0)
            .spawn()?;
        let pid = Pid::from_child(&process);
        let group = Arc::new(Group::of(pid));
        let piped = "all three were asked to be piped";
        let to = process.stdin.take().expect(piped);
        let from = process.stdout.take().expect(piped);
        let log_from = process.stderr.take().expect(piped);
        let prepare = || -> io::Result<OwnedFd> {
            ioctl_fionbio(&to, true)?;
            ioctl_fionbio(&from, true)?;
            ioctl_fionbio(&log_from, true)?;
            // Where the user's pipes are used up, the smaller one works as well.
            let _ = fcntl_setpipe_size(&to, PIPE_BYTES);
            Ok(pidfd_open(pid, PidfdFlags::empty())?)
        };
        let end = prepare().inspect_err(|_| drop(group.end(&mut process)))?;
        Ok(Self {
            process,
            to,
            from,
            log_from: Some(log_from),
            end,
            group,
            plugin: plugin.to_owned(),
            log: Log::default(),
            deadline: Instant::now(),
        })
    }

    /// From now on, reading and writing give `TimedOut` once `deadline` has passed.
    pub fn set_deadline(&mut self, deadline: Instant) {
        self.deadline = deadline;
    }

    /// What stops the process from another thread.
    pub fn group(&self) -> Arc<Group> {
        Arc::clone(&self.group)
    }

    /// Ends the process and all that it started, and says what became of it. One that is about to
    /// end by itself is given `grace` to do so, so that its own cause is told.
    pub fn end(&mut self, grace: Duration) -> io::Result<ExitStatus> {
        if !grace.is_zero() {
            let mut fds = [PollFd::new(&self.end, PollFlags::IN)];
            // An error means an early end, which is only less well told.
            let _ = poll(&mut fds, Some(&timespec(grace)));
        }
        let status = self.group.end(&mut self.process);
        self.drain_log();
        status
    }

    /// The last lines of the log.
    pub fn log_tail(&mut self) -> String {
        self.drain_log();
        self.log.tail()
    }

    /// Waits until `fd` is ready for `events`. `Ok(false)`: the process has ended instead.
    fn wait(&mut self, fd: Waited, events: PollFlags) -> io::Result<bool> {
        loop {
            let left = self.deadline.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return Err(io::ErrorKind::TimedOut.into());
            }
            let fd: BorrowedFd<'_> = match fd {
                Waited::To => self.to.as_fd(),
                Waited::From => self.from.as_fd(),
            };
            let mut fds = vec![
                PollFd::from_borrowed_fd(fd, events),
                PollFd::new(&self.end, PollFlags::IN),
            ];
            if let Some(log) = &self.log_from {
                fds.push(PollFd::new(log, PollFlags::IN));
            }
            match poll(&mut fds, Some(&timespec(left))) {
                Ok(_) | Err(Errno::INTR) => {}
                Err(error) => return Err(error.into()),
            }
            let ready = |index: usize| fds.get(index).is_some_and(|fd| !fd.revents().is_empty());
            let (fd_ready, ended, log_ready) = (ready(0), ready(1), ready(2));
            if log_ready {
                self.read_log();
            }
            if fd_ready {
                return Ok(true);
            }
            if ended {
                return Ok(false);
            }
        }
    }

    /// Takes what is in the log's pipe just now, at most one buffer full.
    ///
    /// Returns false where nothing was there.
    fn read_log(&mut self) -> bool {
        let Some(from) = &mut self.log_from else {
            return false;
        };
        let mut buffer = [0; 16 << 10];
        match from.read(&mut buffer) {
            Ok(0) => {
                self.log_from = None;
                false
            }
            Ok(count) => {
                self.log.take(&self.plugin, &buffer[..count]);
                true
            }
            Err(error) => error.kind() == io::ErrorKind::Interrupted,
        }
    }

    /// Takes what is left in the log's pipe, which holds no more than the kernel keeps for it; a
    /// process that goes on printing is not listened to for ever.
    fn drain_log(&mut self) {
        for _ in 0..PIPE_BYTES / (16 << 10) {
            if !self.read_log() {
                break;
            }
        }
    }
}

impl Drop for Child {
    fn drop(&mut self) {
        if let Err(error) = self.end(Duration::ZERO) {
            tracing::warn!(
                plugin = self.plugin,
                "the plugin's host was not reaped: {error}"
            );
        }
    }
}

/// Which pipe is waited for.
#[derive(Debug, Clone, Copy)]
enum Waited {
    To,
    From,
}

impl Read for Child {
    /// Gives 0 at the end of the pipe and once the process has ended.
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        loop {
            match self.from.read(buffer) {
                Err(error) if error.kind() == io::ErrorKind::WouldBlock => {}
                other => return other,
            }
            if !self.wait(Waited::From, PollFlags::IN)? {
                return Ok(0);
            }
        }
    }
}

impl Write for Child {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        loop {
            match self.to.write(bytes) {
                Err(error) if error.kind() == io::ErrorKind::WouldBlock => {}
                other => return other,
            }
            if !self.wait(Waited::To, PollFlags::OUT)? {
                return Err(io::ErrorKind::BrokenPipe.into());
            }
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

fn timespec(duration: Duration) -> Timespec {
    Timespec {
        tv_sec: duration.as_secs().try_into().unwrap_or(i64::MAX),
        tv_nsec: duration.subsec_nanos().into(),
    }
}
