//! The processes of one host: killed together, reaped together.

use std::{
    io,
    process::{Child, ExitStatus},
    sync::{Mutex, MutexGuard, Once, PoisonError},
    thread,
    time::Duration,
};

use rustix::process::{
    Pid, Signal, WaitOptions, getpid, kill_process_group, set_child_subreaper, waitpgid,
};

/// The process group of a host, which can be killed from any thread until it is reaped.
#[derive(Debug)]
pub(in crate::plugins) struct Group(Mutex<Life>);

#[derive(Debug)]
struct Life {
    /// `None` once reaped: the number may be another process' by then.
    pid: Option<Pid>,
    stopped: bool,
}

impl Group {
    /// The group that the process `pid` leads.
    pub fn of(pid: Pid) -> Self {
        Self(Mutex::new(Life {
            pid: Some(pid),
            stopped: false,
        }))
    }

    /// Kills the whole group, and remembers that this was somebody's wish.
    pub fn stop(&self) {
        let mut life = self.life();
        life.stopped = true;
        if let Some(pid) = life.pid {
            // It may be gone already, which is as good.
            let _ = kill_process_group(pid, Signal::KILL);
        }
    }

    /// True once somebody stopped it.
    pub fn is_stopped(&self) -> bool {
        self.life().stopped
    }

    /// Kills the whole group and reaps `process` and what it left behind.
    pub fn end(&self, process: &mut Child) -> io::Result<ExitStatus> {
        let mut life = self.life();
        if let Some(pid) = life.pid.take() {
            let _ = kill_process_group(pid, Signal::KILL);
            let status = process.wait();
            reap_orphans(pid);
            return status;
        }
        process.wait()
    }

    fn life(&self) -> MutexGuard<'_, Life> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Makes processes that a host leaves behind children of this process, so that they are reaped.
pub fn adopt_orphans() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        if let Err(error) = set_child_subreaper(Some(getpid())) {
            tracing::warn!("what a plugin leaves behind cannot be reaped: {error}");
        }
    });
}

/// Reaps what is left of a killed group. Normally there is nothing.
fn reap_orphans(group: Pid) {
    for _ in 0..100 {
        while let Ok(Some(_)) = waitpgid(group, WaitOptions::NOHANG) {}
        if kill_process_group(group, Signal::KILL).is_err() {
            return;
        }
        thread::sleep(Duration::from_millis(1));
    }
}
