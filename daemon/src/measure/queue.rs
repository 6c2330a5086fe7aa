//! What waits to be measured, and what can still be ended.

use std::{
    collections::{HashMap, VecDeque},
    sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError},
};

use super::{
    job::{Ending, Fate, Job},
    wiring::Check,
};

#[derive(Default)]
struct State {
    waiting: VecDeque<Job>,
    /// Those that do not wait for the rig.
    without_audio: VecDeque<Job>,
    /// Checks of the wiring, which go first: they are short, and somebody waits for each.
    checks: VecDeque<Check>,
    /// Every job that has not ended, waiting or running, by id.
    fates: HashMap<String, Arc<Fate>>,
    closed: bool,
}

/// Whose turn at the rig it is.
#[derive(Debug)]
pub enum Turn {
    /// A measurement, and those that are equal.
    Job(Box<Job>),
    /// A check of the wiring.
    Check(Check),
}

/// Jobs that wait for the rig, in order.
#[derive(Default)]
pub struct Queue {
    state: Mutex<State>,
    changed: Condvar,
}

impl Queue {
    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Adds jobs, all at once, so that equal ones meet in one batch; those without audio do not
    /// wait for the rig.
    /// False where the daemon is ending and takes no more.
    pub fn push(&self, jobs: Vec<Job>) -> bool {
        let mut state = self.state();
        if state.closed {
            return false;
        }
        for job in jobs {
            state
                .fates
                .insert(job.id().to_owned(), Arc::clone(&job.fate));
            if job.is_without_audio() {
                state.without_audio.push_back(job);
            } else {
                state.waiting.push_back(job);
            }
        }
        self.changed.notify_all();
        true
    }

    /// Takes note of a job that does not need the rig, so that it can be ended.
    pub fn register(&self, job: &Job) {
        self.state()
            .fates
            .insert(job.id().to_owned(), Arc::clone(&job.fate));
    }

    /// Adds a check of the wiring. False where the daemon is ending and takes no more.
    pub fn push_check(&self, check: Check) -> bool {
        let mut state = self.state();
        if state.closed {
            return false;
        }
        state
            .fates
            .insert(check.id.clone(), Arc::clone(&check.fate));
        state.checks.push_back(check);
        self.changed.notify_all();
        true
    }

    /// Waits for the next turn. `None` once the queue is closed and empty.
    pub fn next(&self) -> Option<Turn> {
        let mut state = self.state();
        loop {
            if let Some(check) = state.checks.pop_front() {
                return Some(Turn::Check(check));
            }
            if let Some(job) = state.waiting.pop_front() {
                return Some(Turn::Job(Box::new(job)));
            }
            if state.closed {
                return None;
            }
            state = self
                .changed
                .wait(state)
                .unwrap_or_else(PoisonError::into_inner);
        }
    }

    /// Waits for the next job that needs no audio. `None` once the queue is closed and empty.
    pub fn next_without_audio(&self) -> Option<Job> {
        let mut state = self.state();
        loop {
            if let Some(job) = state.without_audio.pop_front() {
                return Some(job);
            }
            if state.closed {
                return None;
            }
            state = self
                .changed
                .wait(state)
                .unwrap_or_else(PoisonError::into_inner);
        }
    }

    /// Takes every waiting job of a batch.
    pub fn take_equal(&self, batch_key: &[u8]) -> Vec<Job> {
        let mut state = self.state();
        let (equal, other) = state
            .waiting
            .drain(..)
            .partition(|job| job.batch_key() == batch_key);
        state.waiting = other;
        Vec::from(equal)
    }

    /// Forgets a job that has ended.
    pub fn forget(&self, id: &str) {
        self.state().fates.remove(id);
    }

    /// Ends one job. False where it has ended already.
    pub fn end(&self, id: &str, ending: Ending) -> bool {
        self.state()
            .fates
            .get(id)
            .is_some_and(|fate| fate.end(ending))
    }

    /// Ends every job, and says how many were not ended before.
    pub fn end_all(&self, ending: &Ending) -> usize {
        self.end_those(ending, |_| true)
    }

    /// Ends every job but those for which nothing is played; says as [`Queue::end_all`].
    pub fn end_sounding(&self, ending: &Ending) -> usize {
        self.end_those(ending, |fate| !fate.is_silent())
    }

    fn end_those(&self, ending: &Ending, which: impl Fn(&Fate) -> bool) -> usize {
        let state = self.state();
        let ended = state.fates.values().filter(|fate| which(fate));
        ended.filter(|fate| fate.end(ending.clone())).count()
    }

    /// Names of the measurements that wait for the rig.
    #[must_use]
    pub fn waiting_names(&self) -> Vec<String> {
        let state = self.state();
        let names = state.waiting.iter().map(|job| job.measurement.name.clone());
        names.collect()
    }

    /// Takes no more jobs.
    pub fn close(&self) {
        self.state().closed = true;
        self.changed.notify_all();
    }

    /// Takes the waiting jobs that were ended: nothing will be done for them.
    #[must_use]
    pub fn withdraw_ended(&self) -> Vec<Job> {
        let mut state = self.state();
        let ended = |job: &Job| job.fate.ending().is_some();
        let (mut all, other) = state.waiting.drain(..).partition::<VecDeque<_>, _>(ended);
        state.waiting = other;
        let (ended, other) = state.without_audio.drain(..).partition(ended);
        state.without_audio = other;
        all.extend::<VecDeque<_>>(ended);
        Vec::from(all)
    }

    /// How many jobs wait for the rig.
    #[must_use]
    pub fn waiting_count(&self) -> usize {
        self.state().waiting.len()
    }
}
