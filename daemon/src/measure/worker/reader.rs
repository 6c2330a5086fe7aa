//! Asks a session what it reads: tells people of it, and keeps what a watch has seen.

use std::time::{Duration, Instant};

use goodwire_proto::plugin::v1::OpenRequest;

use super::Stop;
use crate::{
    clock,
    measure::{complete::Desk, job::Job},
    plugins::Session,
    store::KeptWatch,
};

/// Live readings are asked for at most so often, so that people see at least four a second.
const READINGS_EVERY: Duration = Duration::from_millis(200);
/// The first state of a watch is kept after so long.
const KEPT_FIRST: Duration = Duration::from_secs(1);
/// Later ones are kept so often: a memory card has to bear many days of it.
const KEPT_EVERY: Duration = Duration::from_secs(10);

/// Asks one session.
pub(super) struct Reader<'a> {
    job: &'a Job,
    desk: &'a Desk,
    next: Instant,
    next_kept: Instant,
}

impl<'a> Reader<'a> {
    /// Begins to.
    pub fn new(job: &'a Job, desk: &'a Desk) -> Self {
        let now = Instant::now();
        Self {
            job,
            desk,
            next: now + READINGS_EVERY,
            next_kept: now + KEPT_FIRST,
        }
    }

    /// Something was said to the session that must not be lost: keeps the next state.
    pub fn keep_soon(&mut self) {
        self.next_kept = Instant::now();
    }

    /// Asks, where it is time to; the session was fed up to `frame`.
    ///
    /// # Errors
    /// What the session says.
    pub fn read(&mut self, session: &mut Session, frame: u64) -> Result<(), Stop> {
        let now = Instant::now();
        if now < self.next {
            return Ok(());
        }
        self.next = now + READINGS_EVERY;
        let readings = session.readings()?;
        if !readings.figures.is_empty() {
            let name = &self.job.measurement.name;
            self.desk.watchers.readings(name, readings.figures);
        }
        if self.job.is_watch && now >= self.next_kept && !readings.state.is_empty() {
            self.next_kept = now + KEPT_EVERY;
            self.keep(readings.state, frame);
        }
        Ok(())
    }

    fn keep(&self, state: Vec<u8>, frame: u64) {
        let kept = KeptWatch {
            measurement: self.job.measurement.name.clone(),
            open: OpenRequest {
                state,
                ..self.job.open.clone()
            },
            resumes: self.job.resumes,
            frame,
            boot: clock::boot_id(),
            since_boot: clock::since_boot(),
            time: self.desk.clock.timestamp(),
        };
        if let Err(error) = self.desk.store.keep_watch(&kept) {
            tracing::error!(%error, measurement = self.job.id(), "what a watch saw was not kept");
        }
    }
}
