//! Tells watchers what is new of a measurement. The present state is always at hand, the final one
//! is never lost, and a slow watcher misses nothing but progress.

use std::{
    collections::HashMap,
    sync::{Arc, Mutex, MutexGuard, PoisonError},
};

use goodwire_proto::v1::{Figure, Measurement, measurement::State};
use tokio::sync::watch;

/// What is known of a measurement at one moment.
#[derive(Debug, Clone)]
pub struct Snapshot {
    /// The measurement as it stands.
    pub measurement: Arc<Measurement>,
    /// Share of the planned capture that is done.
    pub progress: f64,
    /// What the analysis reads.
    pub readings: Arc<Vec<Figure>>,
    /// What is waited for; empty where nothing is.
    pub waiting: String,
}

/// True for a state that never changes again.
#[must_use]
pub fn is_final(state: State) -> bool {
    matches!(state, State::Succeeded | State::Failed | State::Cancelled)
}

/// All measurements that have not ended.
#[derive(Default)]
pub struct Watchers {
    senders: Mutex<HashMap<String, watch::Sender<Snapshot>>>,
}

impl Watchers {
    fn senders(&self) -> MutexGuard<'_, HashMap<String, watch::Sender<Snapshot>>> {
        self.senders.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Begins to tell of a measurement.
    pub fn begin(&self, measurement: &Measurement) {
        let snapshot = Snapshot {
            measurement: Arc::new(measurement.clone()),
            progress: 0.0,
            readings: Arc::default(),
            waiting: String::new(),
        };
        self.senders()
            .insert(measurement.name.clone(), watch::channel(snapshot).0);
    }

    /// Tells no more of a measurement: it was never stored, or the next daemon goes on with it.
    pub fn drop(&self, name: &str) {
        self.senders().remove(name);
    }

    /// Follows a measurement. `None` where it has ended or never was: the store knows.
    #[must_use]
    pub fn follow(&self, name: &str) -> Option<watch::Receiver<Snapshot>> {
        self.senders().get(name).map(watch::Sender::subscribe)
    }

    fn change(&self, name: &str, change: impl FnOnce(&mut Snapshot)) {
        if let Some(sender) = self.senders().get(name) {
            sender.send_modify(change);
        }
    }

    /// Tells of a new state. A final one is the last thing told.
    pub fn tell(&self, measurement: Measurement) {
        let name = measurement.name.clone();
        let state = measurement.state();
        self.change(&name, |snapshot| {
            snapshot.waiting.clear();
            snapshot.measurement = Arc::new(measurement);
        });
        if is_final(state) {
            self.senders().remove(&name);
        }
    }

    /// Tells of progress; it never falls.
    pub fn progress(&self, name: &str, progress: f64) {
        self.change(name, |snapshot| {
            snapshot.progress = snapshot.progress.max(progress)
        });
    }

    /// Tells what the analysis reads.
    pub fn readings(&self, name: &str, figures: Vec<Figure>) {
        self.change(name, |snapshot| snapshot.readings = Arc::new(figures));
    }

    /// Tells what is waited for.
    pub fn waiting(&self, name: &str, text: &str) {
        if let Some(sender) = self.senders().get(name) {
            sender.send_if_modified(|snapshot| {
                let is_news = snapshot.waiting != text;
                text.clone_into(&mut snapshot.waiting);
                is_news
            });
        }
    }

    /// The running measurements as they stand.
    #[must_use]
    pub fn running(&self) -> Vec<Measurement> {
        let senders = self.senders();
        let measurements = senders.values().map(|sender| {
            let snapshot = sender.borrow();
            Measurement {
                progress: snapshot.progress,
                ..(*snapshot.measurement).clone()
            }
        });
        measurements
            .filter(|measurement| measurement.state() == State::Running)
            .collect()
    }
}
