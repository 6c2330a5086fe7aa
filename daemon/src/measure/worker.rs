//! The conductor's handle of one job's own thread.

mod reader;
mod run;

use std::{
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
        mpsc::{self, Sender, SyncSender},
    },
    thread::{self, JoinHandle},
};

use goodwire_proto::{
    plugin::v1::{Plan, SessionNote},
    v1::Note,
};

pub use run::render;

use super::{
    complete::{Desk, Played},
    feed::Feed,
    job::{Ending, Job},
    overheard::Ear,
    watches::Running,
};
use crate::{
    audio::performance::{Captured, Sound},
    plugins::PluginError,
};
use run::Run;

/// What a worker is told.
#[derive(Debug)]
pub(super) enum Order {
    Begin {
        step: u32,
        repeat: u32,
        retry: bool,
        feed: Feed,
        ear: Option<Ear>,
    },
    Heard(Arc<Captured>),
    CatchUp(SyncSender<()>),
    Note(SessionNote),
    Finish {
        played: Played,
        early: bool,
    },
}

/// What a job wants played.
#[derive(Debug, Clone)]
pub struct Score {
    /// The plan.
    pub plan: Plan,
    /// One sound a step.
    pub sounds: Vec<Sound>,
}

/// Why a worker has no result.
#[derive(Debug)]
pub enum Stop {
    /// The plugin failed, or was wrong.
    Plugin {
        /// How.
        error: PluginError,
        /// What is known of the measurement all the same.
        notes: Vec<Note>,
    },
    /// The job was ended; its fate says why.
    Ended,
}

impl From<PluginError> for Stop {
    fn from(error: PluginError) -> Self {
        Self::Plugin {
            error,
            notes: Vec::new(),
        }
    }
}

/// The conductor's handle of a worker.
pub struct Worker {
    /// The job.
    pub job: Job,
    orders: Sender<Order>,
    enough: Arc<AtomicBool>,
    is_finished: bool,
    thread: JoinHandle<()>,
}

impl Worker {
    /// Starts the thread, opens the plugin and waits for its score. `None` where the job has
    /// ended already; that is stored then.
    pub fn start(job: Job, desk: &Arc<Desk>) -> Option<(Self, Score)> {
        let (orders, inbox) = mpsc::channel();
        let (scores, score) = mpsc::sync_channel(1);
        let enough = Arc::new(AtomicBool::new(false));
        let desk = Arc::clone(desk);
        let run = Run {
            job: job.clone(),
            desk,
            inbox,
            enough: Arc::clone(&enough),
        };
        let thread = thread::Builder::new()
            .name(format!("job {}", job.id()))
            .spawn(move || run.live(&scores))
            .expect("the system gives a thread for a measurement");
        let score = score.recv().ok()?;
        Some((
            Self {
                job,
                orders,
                enough,
                is_finished: false,
                thread,
            },
            score,
        ))
    }

    fn order(&self, order: Order) {
        // A worker that has ended has settled its job; orders to it mean nothing any more.
        let _ = self.orders.send(order);
    }

    /// Says that a play of a step begins; an `ear` is for the first, which wakes the links.
    pub fn begin(&self, [step, repeat]: [u32; 2], retry: bool, feed: Feed, ear: Option<Ear>) {
        self.order(Order::Begin {
            step,
            repeat,
            retry,
            feed,
            ear,
        });
    }

    /// Hands on what was heard.
    pub fn heard(&self, captured: &Arc<Captured>) {
        self.order(Order::Heard(Arc::clone(captured)));
    }

    /// Waits until all that was handed on has been fed, so that [`Worker::is_done`] tells of it.
    pub fn catch_up(&self) {
        let (done, caught_up) = mpsc::sync_channel(1);
        self.order(Order::CatchUp(done));
        // An error says that the worker has ended: then it has nothing to catch up with.
        let _ = caught_up.recv();
    }

    /// Says that all is played, for the first time it is said. The worker computes, judges and
    /// stores the result by itself.
    pub fn finish(&mut self, played: Played, early: bool) {
        if !self.is_finished {
            self.is_finished = true;
            self.order(Order::Finish { played, early });
        }
    }

    /// True once it was told that all is played.
    pub fn is_finished(&self) -> bool {
        self.is_finished
    }

    /// Ends the job, unless its result is being computed.
    pub fn end(self, ending: Ending) -> JoinHandle<()> {
        if !self.is_finished {
            self.job.fate.end(ending);
        }
        self.thread
    }

    /// The thread, which ends by itself.
    pub fn into_thread(self) -> JoinHandle<()> {
        self.thread
    }

    /// True once the session needs no more.
    pub fn has_enough(&self) -> bool {
        self.enough.load(Ordering::Acquire)
    }

    /// What others tell it as a watch.
    pub fn running(&self, rate_hz: f64) -> Running {
        Running::new(Arc::clone(&self.job.fate), self.orders.clone(), rate_hz)
    }

    /// True once the job needs no more sound: it has enough, or it has ended.
    pub fn is_done(&self) -> bool {
        self.has_enough()
            || self.is_finished
            || self.job.fate.is_to_finish()
            || self.thread.is_finished()
            || self.job.fate.ending().is_some()
    }
}
