//! The engine: one thread that owns the interface and frame time.
//!
//! It plays one performance at a time, hands out what is heard, keeps a device running in silence
//! between performances, and opens a lost device again.

mod stream;

use std::{
    sync::{
        Arc, Mutex, MutexGuard, PoisonError,
        mpsc::{self, Receiver, RecvTimeoutError, Sender},
    },
    thread::{self, JoinHandle},
    time::{Duration, Instant},
};

use self::stream::Stream;
use super::{
    Interface, InterfaceError, Mute, Shape,
    meters::{Levels, Meters, Watch},
    performance::{Ended, Performance},
};

/// Opens the interface; called again after each loss.
pub type Opener = Box<dyn FnMut() -> Result<Box<dyn Interface>, InterfaceError> + Send>;

/// Time between attempts to open a lost interface.
const REOPEN_PAUSE: Duration = Duration::from_millis(500);

/// What the engine can tell of itself at any time.
#[derive(Debug, Clone, Default)]
pub struct EngineStatus {
    /// The interface; `None` until it was opened for the first time, and while it is lost.
    pub shape: Option<Shape>,
    /// Why there is none, with the device's name.
    pub text: String,
    /// True where something that the configuration names is waited for.
    pub waiting: bool,
    /// True once an attempt to open was made.
    pub tried: bool,
    /// Xruns since the daemon started.
    pub xrun_count: u64,
    /// Number of the stream's start or recovery, over all openings.
    pub epoch: u64,
}

#[derive(Default)]
struct Shared {
    status: Mutex<EngineStatus>,
    mute: Mutex<Option<Arc<Mute>>>,
    levels: Levels,
}

impl Shared {
    fn status(&self) -> MutexGuard<'_, EngineStatus> {
        self.status.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn mute(&self) -> MutexGuard<'_, Option<Arc<Mute>>> {
        self.mute.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The engine's handle. Dropping it ramps down, closes the interface and ends the thread.
pub struct Engine {
    performances: Option<Sender<Performance>>,
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

impl Engine {
    /// Starts the engine thread, which opens the interface.
    ///
    /// # Panics
    /// Where the machine has no thread left at start-up.
    #[must_use]
    pub fn start(opener: Opener, ceilings: Vec<f32>) -> Self {
        let (performances, queue) = mpsc::channel();
        let shared = Arc::new(Shared::default());
        let theirs = Arc::clone(&shared);
        let thread = thread::Builder::new()
            .name("engine".into())
            .spawn(move || {
                Runner {
                    opener,
                    ceilings,
                    shared: theirs,
                    queue,
                }
                .run()
            })
            .expect("a thread at start-up");
        Self {
            performances: Some(performances),
            shared,
            thread: Some(thread),
        }
    }

    /// Asks for a performance; its answers come through its own channel.
    pub fn perform(&self, performance: Performance) {
        if let Some(queue) = &self.performances {
            // Should the thread have ended, the performance's channel closes and its owner sees it.
            let _ = queue.send(performance);
        }
    }

    /// What the engine can tell of itself just now.
    #[must_use]
    pub fn status(&self) -> EngineStatus {
        self.shared.status().clone()
    }

    /// The levels of every return from now on, and the latest there are.
    #[must_use]
    pub fn watch_levels(&self) -> Watch {
        self.shared.levels.watch()
    }

    /// The interface's switch that silences it; `None` while there is no interface.
    #[must_use]
    pub fn mute(&self) -> Option<Arc<Mute>> {
        self.shared.mute().clone()
    }
}

impl Drop for Engine {
    fn drop(&mut self) {
        self.performances = None;
        if let Some(thread) = self.thread.take() {
            // A panic of the engine has been logged by its thread; there is nothing to add.
            let _ = thread.join();
        }
    }
}

struct Runner {
    opener: Opener,
    ceilings: Vec<f32>,
    shared: Arc<Shared>,
    queue: Receiver<Performance>,
}

impl Runner {
    fn run(mut self) {
        let mut epochs_before = 0;
        loop {
            match (self.opener)() {
                Ok(interface) => {
                    let meters = Meters::new(interface.shape(), self.shared.levels.clone());
                    let mut stream = Stream::new(interface, &self.ceilings, epochs_before, meters);
                    self.opened(&stream);
                    let end = self.serve(&mut stream);
                    epochs_before = stream.epoch;
                    self.closed(&stream);
                    match end {
                        Serve::HandleDropped => return,
                        Serve::Lost(error) => self.lost(&error),
                    }
                }
                Err(error) => self.lost(&error),
            }
            if self.refuse_for(REOPEN_PAUSE).is_err() {
                return;
            }
        }
    }

    fn opened(&self, stream: &Stream) {
        let shape = stream.interface.shape().clone();
        tracing::info!(device = %shape.device, rate_hz = shape.rate_hz, "the interface is open");
        *self.shared.mute() = Some(stream.interface.mute());
        let mut status = self.shared.status();
        status.shape = Some(shape);
        status.text.clear();
        status.waiting = false;
        status.tried = true;
    }

    fn closed(&self, stream: &Stream) {
        *self.shared.mute() = None;
        self.shared.levels.forget();
        let mut status = self.shared.status();
        status.shape = None;
        status.xrun_count += stream.interface.xrun_count() - stream.xruns_told;
    }

    fn lost(&self, error: &InterfaceError) {
        let mut status = self.shared.status();
        let text = error.to_string();
        if status.text != text {
            tracing::warn!(%error, "no audio interface; trying again");
        }
        status.text = text;
        status.waiting = matches!(error, InterfaceError::Waiting { .. });
        status.tried = true;
    }

    /// Refuses performances for a while, because there is no interface.
    fn refuse_for(&self, pause: Duration) -> Result<(), RecvTimeoutError> {
        let until = Instant::now() + pause;
        loop {
            let left = until.saturating_duration_since(Instant::now());
            match self.queue.recv_timeout(left) {
                Ok(performance) => {
                    let text = self.shared.status().text.clone();
                    performance.end(Ended::DeviceLost { text });
                }
                Err(RecvTimeoutError::Timeout) => return Ok(()),
                Err(gone) => return Err(gone),
            }
        }
    }

    /// Plays performances until the interface is lost or the handle is dropped.
    fn serve(&self, stream: &mut Stream) -> Serve {
        loop {
            let next = if stream.is_virtual() {
                self.queue
                    .recv()
                    .map(Some)
                    .map_err(|_| Serve::HandleDropped)
            } else {
                match self.queue.try_recv() {
                    Ok(performance) => Ok(Some(performance)),
                    Err(mpsc::TryRecvError::Empty) => Ok(None),
                    Err(mpsc::TryRecvError::Disconnected) => Err(Serve::HandleDropped),
                }
            };
            let played = match next {
                Ok(Some(performance)) => stream.play(performance),
                Ok(None) => stream.idle(),
                Err(end) => return end,
            };
            self.tell(stream);
            if let Err(error) = played {
                return Serve::Lost(error);
            }
        }
    }

    fn tell(&self, stream: &mut Stream) {
        let count = stream.interface.xrun_count();
        let mut status = self.shared.status();
        status.xrun_count += count - stream.xruns_told;
        status.epoch = stream.epoch;
        stream.xruns_told = count;
    }
}

enum Serve {
    HandleDropped,
    Lost(InterfaceError),
}

#[cfg(test)]
mod tests;
