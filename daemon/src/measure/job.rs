//! One measurement on its way from the request to the result.

use std::sync::{
    Arc, Mutex, PoisonError,
    atomic::{AtomicBool, Ordering},
};

use goodwire_proto::{
    plugin::v1::{OpenRequest, open_request::Mode},
    v1::{Measurement, Note, Reason, measurement::State},
};
use prost::Message;

use crate::{
    audio::performance::{Cancel, Place},
    config::LinkConfig,
    plugins::{PluginEntry, Stopper},
};

/// Why a measurement is ended before it has a result.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ending {
    /// Somebody said so.
    Cancelled(String),
    /// The daemon ends.
    DaemonEnds,
    /// It cannot go on: id and sentence.
    Failed {
        /// Stable id in kebab-case.
        id: String,
        /// The reason in a sentence.
        text: String,
        /// Whose sound it speaks of: `link` or `reference`; empty where it is neither.
        channel: String,
    },
}

impl Ending {
    /// A failure from its id and its sentence.
    pub fn failed(id: impl Into<String>, text: impl Into<String>) -> Self {
        Self::Failed {
            id: id.into(),
            text: text.into(),
            channel: String::new(),
        }
    }

    /// The state and the reason that a measurement ends with.
    #[must_use]
    pub fn state_and_reason(&self) -> (State, Reason) {
        match self {
            Self::Cancelled(text) => (
                State::Cancelled,
                Reason {
                    id: "cancelled".into(),
                    text: text.clone(),
                    ..Reason::default()
                },
            ),
            Self::DaemonEnds => {
                let text = "the daemon was ended while it was measured";
                Self::failed("interrupted", text).state_and_reason()
            }
            Self::Failed { id, text, channel } => (
                State::Failed,
                Reason {
                    id: id.clone(),
                    text: text.clone(),
                    channel: channel.clone(),
                },
            ),
        }
    }
}

/// The switch that ends a job; the first reason counts.
#[derive(Debug, Default)]
pub struct Fate {
    ending: Mutex<Option<Ending>>,
    cancel: Arc<Cancel>,
    stopper: Mutex<Option<Stopper>>,
    finish: AtomicBool,
    is_silent: bool,
}

impl Fate {
    /// The fate of a job that plays nothing (`is_silent`), which a hold does not end, or of one
    /// that does.
    #[must_use]
    pub fn new(is_silent: bool) -> Self {
        Self {
            is_silent,
            ..Self::default()
        }
    }

    /// True where nothing is played for the job.
    #[must_use]
    pub fn is_silent(&self) -> bool {
        self.is_silent
    }

    /// Asks a watch to end early, with what it saw.
    pub fn finish(&self) {
        self.finish.store(true, Ordering::Release);
    }

    /// True once it was asked to.
    #[must_use]
    pub fn is_to_finish(&self) -> bool {
        self.finish.load(Ordering::Acquire)
    }

    /// Ends the job. True where it was not ended before.
    pub fn end(&self, ending: Ending) -> bool {
        let mut slot = self.ending.lock().unwrap_or_else(PoisonError::into_inner);
        let first = slot.is_none();
        slot.get_or_insert(ending);
        drop(slot);
        self.cancel.set();
        if let Some(stopper) = &*self.stopper.lock().unwrap_or_else(PoisonError::into_inner) {
            stopper.stop();
        }
        first
    }

    /// Names the session that the end of the job stops, even within a call.
    pub fn stops(&self, stopper: Stopper) {
        if self.ending().is_some() {
            stopper.stop();
        }
        *self.stopper.lock().unwrap_or_else(PoisonError::into_inner) = Some(stopper);
    }

    /// Why the job was ended; `None` while it may go on.
    #[must_use]
    pub fn ending(&self) -> Option<Ending> {
        self.ending
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    /// The switch that ramps the job's sound down.
    #[must_use]
    pub fn cancel(&self) -> Arc<Cancel> {
        Arc::clone(&self.cancel)
    }
}

/// Where a watch goes on that an earlier daemon began.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KeptAt {
    /// Frame up to which its session has seen.
    pub frame: u64,
    /// Where it would be now.
    pub place: Place,
}

/// One measurement on its way from the request to the result.
#[derive(Debug, Clone)]
pub struct Job {
    /// The measurement as it was created: QUEUED, with its name and parameters.
    pub measurement: Measurement,
    /// The link; `None` for recordings of no link.
    pub link: Option<LinkConfig>,
    /// The plugin that provides the analysis.
    pub plugin: Arc<PluginEntry>,
    /// What the plugin's session is opened with, but for the rates.
    pub open: OpenRequest,
    /// What the daemon has to say of the result.
    pub notes: Vec<Note>,
    /// Somebody is in the room and said that sound may be played.
    pub is_attended: bool,
    /// Its plan has no end: it is a watch.
    pub is_watch: bool,
    /// It goes on by itself where the daemon was ended and started again.
    pub resumes: bool,
    /// Where it goes on, if an earlier daemon began it.
    pub kept_at: Option<KeptAt>,
    /// The switch that ends it.
    pub fate: Arc<Fate>,
}

impl Job {
    /// True where nothing is played for it.
    #[must_use]
    pub fn is_silent(&self) -> bool {
        self.fate.is_silent()
    }

    /// True where it needs neither interface nor rig.
    #[must_use]
    pub fn is_without_audio(&self) -> bool {
        self.open.radio.is_some()
    }

    /// The id without its collection.
    #[must_use]
    pub fn id(&self) -> &str {
        bare(&self.measurement.name)
    }

    /// What jobs must share to be measured in one batch: plugin, analysis, parameters, ceiling.
    #[must_use]
    pub fn batch_key(&self) -> Vec<u8> {
        let shared = OpenRequest {
            seed: 0,
            r#match: None,
            clip_point_dbfs: None,
            other_links: Vec::new(),
            shared_send_links: Vec::new(),
            state: Vec::new(),
            mode: Mode::Live as i32,
            ..self.open.clone()
        };
        let mut key = self.plugin.path.as_os_str().as_encoded_bytes().to_vec();
        key.extend(shared.encode_to_vec());
        // What goes on is further than what begins.
        key.push(u8::from(self.kept_at.is_some()));
        key
    }
}

/// A resource name without its collection: `lectern` of `links/lectern`.
#[must_use]
pub fn bare(name: &str) -> &str {
    name.rsplit_once('/').map_or(name, |(_, bare)| bare)
}
