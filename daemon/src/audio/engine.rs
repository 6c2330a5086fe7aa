//! The engine: one thread that owns the interface and frame time.
//!
//! It plays one performance at a time, hands out what is heard, keeps a device running in silence
//! between performances, and opens a lost device again.

use std::{
    sync::{
        Arc, Mutex, MutexGuard, PoisonError,
        mpsc::{self, Receiver, RecvTimeoutError, Sender},
    },
    thread::{self, JoinHandle},
    time::{Duration, Instant},
};

use super::{
    Heard, Interface, InterfaceError, Mute, Shape, TimeSource,
    meters::{Levels, Meters, Watch},
    performance::{Ended, Performance},
    stage::Stage,
};

/// Opens the interface; called again after each loss.
pub type Opener = Box<dyn FnMut() -> Result<Box<dyn Interface>, InterfaceError> + Send>;

/// Longest time that one exchange waits for frames.
const EXCHANGE_WAIT: Duration = Duration::from_millis(50);
/// Time between attempts to open a lost interface.
const REOPEN_PAUSE: Duration = Duration::from_millis(500);
/// An open-ended performance that goes on after a loss is rendered so long before it sounds.
const LEAD_S: f64 = 0.25;
/// How often it is looked whether those who listen have caught up.
const CATCH_UP_PAUSE: Duration = Duration::from_millis(1);
/// Shortest block of virtual time, so that small periods do not cost speed.
const VIRTUAL_BLOCK_FRAMES: usize = 4096;

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

/// An open interface with the frame time that the engine has reached.
struct Stream {
    interface: Box<dyn Interface>,
    next_frame: u64,
    epochs_before: u64,
    epoch: u64,
    xruns_told: u64,
    block_frames: usize,
    silence: Vec<f32>,
    meters: Meters,
}

impl Stream {
    fn new(
        mut interface: Box<dyn Interface>,
        ceilings: &[f32],
        epochs_before: u64,
        meters: Meters,
    ) -> Self {
        interface.set_ceilings(ceilings);
        let shape = interface.shape();
        let block_frames = match shape.time {
            TimeSource::Virtual => shape.period_frames.max(VIRTUAL_BLOCK_FRAMES),
            TimeSource::Device | TimeSource::Paced => shape.period_frames,
        };
        let silence = vec![0.0; block_frames];
        let epoch = epochs_before + 1;
        Self {
            interface,
            next_frame: 0,
            epochs_before,
            epoch,
            xruns_told: 0,
            block_frames,
            silence,
            meters,
        }
    }

    fn is_virtual(&self) -> bool {
        self.interface.shape().time == TimeSource::Virtual
    }

    /// Keeps the device running in silence.
    fn idle(&mut self) -> Result<(), InterfaceError> {
        let shape = self.interface.shape();
        let mut heard = vec![Vec::new(); shape.return_count];
        let play = vec![&self.silence[..]; shape.send_count];
        let got = self
            .interface
            .exchange(self.next_frame, &play, &mut heard, EXCHANGE_WAIT)?;
        self.meters.hear(&heard);
        self.advance(&got, self.block_frames);
        Ok(())
    }

    /// Lets time go on in silence until the pilot of an open-ended performance is rendered. Gives
    /// the number of the performance's first frame.
    fn lead_in(&mut self, performance: &mut Performance) -> Result<u64, InterfaceError> {
        let Some(open_end) = &mut performance.open_end else {
            return Ok(0);
        };
        let shape = self.interface.shape().clone();
        let block_count = match (shape.time, &open_end.pilot) {
            (TimeSource::Virtual, _) | (_, None) => 0,
            _ => (LEAD_S * f64::from(shape.rate_hz) / self.block_frames as f64).ceil() as u64,
        };
        loop {
            let start_frame = self.next_frame + block_count * self.block_frames as u64;
            let first_frame = open_end.place.map_or(0, |place| {
                place.frame_at(self.epoch, start_frame, shape.rate_hz, shape.time)
            });
            if let Some(pilot) = &mut open_end.pilot {
                pilot.begin(first_frame);
            }
            for _ in 0..block_count {
                self.idle()?;
            }
            // After a recovery the frames count anew.
            if self.next_frame == start_frame {
                return Ok(first_frame);
            }
        }
    }

    /// Waits until those who listen have caught up, where time can wait. False where it cannot,
    /// and frames have to be given up.
    fn catch_up(&self, stage: &mut Stage) -> bool {
        let can_wait = self.interface.shape().time != TimeSource::Device;
        while stage.is_behind() {
            if !can_wait {
                return !stage.may_lose();
            }
            thread::sleep(CATCH_UP_PAUSE);
        }
        true
    }

    fn play(&mut self, mut performance: Performance) -> Result<(), InterfaceError> {
        let first_frame = self.lead_in(&mut performance).inspect_err(|error| {
            performance.end(Ended::DeviceLost {
                text: error.to_string(),
            });
        })?;
        let shape = self.interface.shape().clone();
        let mute = self.interface.mute();
        mute.set(performance.cancel.is_set());
        self.interface.plug_cables(&performance.cabled_returns);
        let cancel = Arc::clone(&performance.cancel);
        let mut stage = Stage::new(performance, &shape, self.next_frame, first_frame);
        if cancel.is_set() {
            // Somebody silenced all between the two lines above; the ramp must not be heard.
            mute.set(true);
        }
        loop {
            let frame_count = self.block_frames;
            if !self.catch_up(&mut stage) {
                stage.end(Ended::Lost(super::Loss::Unknown));
                return Ok(());
            }
            let Some(block) = stage.block(frame_count) else {
                return Ok(());
            };
            let play: Vec<&[f32]> = block.iter().map(Vec::as_slice).collect();
            let mut heard = vec![Vec::new(); shape.return_count];
            let got =
                match self
                    .interface
                    .exchange(self.next_frame, &play, &mut heard, EXCHANGE_WAIT)
                {
                    Ok(got) => got,
                    Err(error) => {
                        stage.end(Ended::DeviceLost {
                            text: error.to_string(),
                        });
                        return Err(error);
                    }
                };
            self.meters.hear(&heard);
            let epoch_before = self.epoch;
            self.advance(&got, frame_count);
            if self.epoch != epoch_before && stage.has_begun() {
                stage.end(Ended::Lost(got.lost.unwrap_or(super::Loss::Unknown)));
                return Ok(());
            }
            if stage.hear(&got, heard, self.epoch, &mute) {
                return Ok(());
            }
        }
    }

    /// Moves frame time on by what was queued; after a recovery, to where the stream now is.
    fn advance(&mut self, got: &Heard, queued_frames: usize) {
        let epoch = self.epochs_before + got.epoch;
        if epoch == self.epoch {
            self.next_frame += queued_frames as u64;
        } else {
            self.epoch = epoch;
            self.next_frame = got.first_frame + got.frame_count as u64;
        }
    }
}

#[cfg(test)]
mod tests;
