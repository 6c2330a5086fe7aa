//! Analyses that need no audio, on threads of their own: they wait neither for the rig nor for the
//! room, and nothing that plays or watches waits for them.

use std::{
    sync::Arc,
    thread::{self, JoinHandle},
};

use goodwire_proto::plugin::v1::{Plan, SessionResult};

use super::{
    complete::{Desk, Played},
    job::Job,
    worker::Stop,
};
use crate::plugins::{Limits, PluginError, Session};

/// Analyses that compute at the same time.
const THREADS: usize = 2;

/// Starts the threads; they end when the queue is closed and everything is settled.
///
/// # Panics
/// Where the machine has no thread left at start-up.
#[must_use]
pub fn start(desk: &Arc<Desk>) -> Vec<JoinHandle<()>> {
    let thread = |number: usize| {
        let desk = Arc::clone(desk);
        thread::Builder::new()
            .name(format!("without audio {number}"))
            .spawn(move || {
                while let Some(job) = desk.queue.next_without_audio() {
                    compute(&desk, &job);
                }
            })
            .expect("a thread at start-up")
    };
    (0..THREADS).map(thread).collect()
}

fn compute(desk: &Desk, job: &Job) {
    if job.fate.ending().is_some() {
        return desk.settle(job, Err(Stop::Ended));
    }
    desk.run(job);
    let outcome = result(job);
    desk.settle(job, outcome.map(|result| (result, Played::default())));
}

fn result(job: &Job) -> Result<SessionResult, Stop> {
    let mut session = Session::open(&job.plugin, &job.open, &Limits::default())?;
    job.fate.stops(session.stopper());
    if session.plan()? != Plan::default() {
        let what = "it needs no audio, and yet it wants to play or to hear".to_owned();
        let plugin = session.plugin().to_owned();
        return Err(PluginError::Garbage { plugin, what }.into());
    }
    let result = session.finish(false)?;
    session.close();
    Ok(result)
}
