//! Renders the pilot of a watch: one plugin session more, on a thread of its own, ahead of the engine.

use std::{
    sync::{
        Arc, OnceLock,
        mpsc::{self, Receiver, Sender, SyncSender},
    },
    thread::{self, JoinHandle},
};

use goodwire_proto::plugin::v1::OpenRequest;

use super::job::Job;
use crate::{
    audio::pilot::{Ask, Pilot},
    plugins::{Limits, PluginEntry, PluginError, Session, check_peak},
};

/// Frames of one chunk: a third of a second at 48 kHz.
const CHUNK_FRAMES: u32 = 1 << 14;

/// The thread that renders. It ends when neither this handle nor a pilot is left.
pub struct Renderer {
    asks: Sender<Ask>,
    failure: Arc<OnceLock<PluginError>>,
    thread: JoinHandle<()>,
}

impl Renderer {
    /// Starts the thread for a job of the watch; `peak_dbfs` is what its plan declares.
    ///
    /// # Panics
    /// Where the machine has no thread left.
    #[must_use]
    pub fn start(job: &Job, peak_dbfs: f64) -> Self {
        let (asks, asked) = mpsc::channel();
        let failure = Arc::new(OnceLock::new());
        let (plugin, open, told) = (
            Arc::clone(&job.plugin),
            job.open.clone(),
            Arc::clone(&failure),
        );
        let thread = thread::Builder::new()
            .name("pilot".into())
            .spawn(move || {
                if let Err(error) = render(&plugin, &open, peak_dbfs, &asked) {
                    // It is set here alone.
                    let _ = told.set(error);
                }
            })
            .expect("the system gives a thread for a watch");
        Self {
            asks,
            failure,
            thread,
        }
    }

    /// A pilot for one performance.
    #[must_use]
    pub fn pilot(&self) -> Pilot {
        Pilot::new(self.asks.clone())
    }

    /// Why nothing is rendered any more; `None` where all is well.
    #[must_use]
    pub fn failure(&self) -> Option<&PluginError> {
        self.failure.get()
    }

    /// Lets the thread end.
    #[must_use]
    pub fn end(self) -> JoinHandle<()> {
        self.thread
    }
}

fn render(
    plugin: &PluginEntry,
    open: &OpenRequest,
    peak_dbfs: f64,
    asked: &Receiver<Ask>,
) -> Result<(), PluginError> {
    let mut session = Session::open(plugin, open, &Limits::default())?;
    session.plan()?;
    while let Ok(ask) = asked.recv() {
        render_from(&mut session, ask.first_frame, peak_dbfs, &ask.chunks)?;
    }
    session.close();
    Ok(())
}

/// Renders until nobody takes the chunks any more.
fn render_from(
    session: &mut Session,
    first_frame: u64,
    peak_dbfs: f64,
    chunks: &SyncSender<Vec<f32>>,
) -> Result<(), PluginError> {
    for first_frame in (first_frame..).step_by(CHUNK_FRAMES as usize) {
        let chunk = session.render(0, first_frame, CHUNK_FRAMES)?;
        check_peak(&chunk, peak_dbfs, session.plugin())?;
        if chunks.send(chunk).is_err() {
            break;
        }
    }
    Ok(())
}
