//! Tells watchers how a run comes on.

use std::{
    collections::HashMap,
    sync::{Mutex, MutexGuard, PoisonError},
};

use goodwire_proto::v1::Run;
use tokio::sync::watch;
use tokio_util::sync::CancellationToken;

/// A run under way.
struct UnderWay {
    news: watch::Sender<Run>,
    cancel: CancellationToken,
}

/// All runs under way, by name.
#[derive(Default)]
pub(super) struct RunWatchers {
    runs: Mutex<HashMap<String, UnderWay>>,
}

impl RunWatchers {
    fn runs(&self) -> MutexGuard<'_, HashMap<String, UnderWay>> {
        self.runs.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Begins to tell of a run. Gives what ends it.
    pub(super) fn begin(&self, run: &Run) -> CancellationToken {
        let cancel = CancellationToken::new();
        let under_way = UnderWay {
            news: watch::channel(run.clone()).0,
            cancel: cancel.clone(),
        };
        self.runs().insert(run.name.clone(), under_way);
        cancel
    }

    /// Tells how a run stands.
    pub(super) fn tell(&self, run: &Run) {
        if let Some(under_way) = self.runs().get(&run.name) {
            under_way.news.send_replace(run.clone());
        }
    }

    /// Tells the last of a run; its watchers hear it, and no more.
    pub(super) fn end(&self, run: &Run) {
        self.tell(run);
        self.runs().remove(&run.name);
    }

    /// Follows a run; `None` where it has ended or never was.
    pub(super) fn follow(&self, name: &str) -> Option<watch::Receiver<Run>> {
        self.runs().get(name).map(|run| run.news.subscribe())
    }

    /// Asks a run to end; false where it has ended or never was.
    pub(super) fn cancel(&self, name: &str) -> bool {
        let runs = self.runs();
        let under_way = runs.get(name);
        under_way.inspect(|run| run.cancel.cancel()).is_some()
    }
}
