//! The watches that run just now: where each has come to, and what can be said to it.

use std::{
    collections::HashMap,
    sync::{
        Arc, Mutex, MutexGuard, PoisonError,
        atomic::{AtomicU64, Ordering},
        mpsc::Sender,
    },
};

use goodwire_proto::plugin::v1::{Mark, SessionNote, session_note::Note};

use super::{job::Fate, worker::Order};

/// One running watch.
#[derive(Debug)]
pub struct Running {
    fate: Arc<Fate>,
    orders: Sender<Order>,
    rate_hz: f64,
    /// Frame of the watch up to which was heard.
    heard_frame: AtomicU64,
    /// Marks whose request had an id, with their seconds: asked twice is one mark.
    marked: Mutex<HashMap<String, f64>>,
}

impl Running {
    /// A watch that begins.
    pub(super) fn new(fate: Arc<Fate>, orders: Sender<Order>, rate_hz: f64) -> Self {
        Self {
            fate,
            orders,
            rate_hz,
            heard_frame: AtomicU64::new(0),
            marked: Mutex::default(),
        }
    }

    /// Says how far it was heard.
    pub fn hear(&self, frame: u64) {
        self.heard_frame.store(frame, Ordering::Release);
    }

    /// Sets a mark where it is heard at this moment; gives its seconds from the first frame.
    pub fn mark(&self, mark: Mark, request_id: &str) -> f64 {
        let mut marked = self.marked.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(start_s) = marked.get(request_id) {
            return *start_s;
        }
        let at_frame = self.heard_frame.load(Ordering::Acquire) as f64;
        let start_s = at_frame / self.rate_hz;
        if !request_id.is_empty() {
            marked.insert(request_id.to_owned(), start_s);
        }
        // A watch that has ended meanwhile has no use for it.
        let _ = self.orders.send(Order::Note(SessionNote {
            note: Some(Note::Mark(mark)),
            at_frame,
        }));
        start_s
    }

    /// Ends it early, with what it saw.
    pub fn finish(&self) {
        self.fate.finish();
    }
}

/// All watches that run just now, by id.
#[derive(Default)]
pub struct Watches {
    running: Mutex<HashMap<String, Arc<Running>>>,
}

impl Watches {
    fn running(&self) -> MutexGuard<'_, HashMap<String, Arc<Running>>> {
        self.running.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Takes note of one that begins.
    pub(super) fn begin(&self, id: &str, running: Running) {
        self.running().insert(id.to_owned(), Arc::new(running));
    }

    /// Forgets one that has ended.
    pub fn end(&self, id: &str) {
        self.running().remove(id);
    }

    /// One of them; `None` where it does not run, or is no watch.
    #[must_use]
    pub fn get(&self, id: &str) -> Option<Arc<Running>> {
        self.running().get(id).cloned()
    }
}
