//! One job's own thread: drives its plugin from the opening to the stored result.

use std::{
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
        mpsc::{self, Receiver, Sender, SyncSender},
    },
    thread::{self, JoinHandle},
    time::{Duration, Instant},
};

use goodwire_proto::{
    plugin::v1::{LostFrames, Plan, SessionNote, SessionResult, plan::capture::Kind, session_note},
    v1::Note,
};

use super::{
    complete::{Desk, Played},
    feed::{Feed, Frames},
    job::{Ending, Job},
    overheard::Ear,
    watches::Running,
};
use crate::{
    audio::performance::{Captured, Sound},
    plugins::{Block, Fed, Limits, PluginError, Session, check_peak, is_open_ended},
};

/// Frames that are rendered in one call.
const RENDER_FRAMES: usize = 1 << 16;
/// Live readings are asked for at most so often, so that people see at least four a second.
const READINGS_EVERY: Duration = Duration::from_millis(200);

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

/// What the worker's thread works with.
struct Run {
    job: Job,
    desk: Arc<Desk>,
    inbox: Receiver<Order>,
    enough: Arc<AtomicBool>,
}

impl Run {
    fn live(self, scores: &SyncSender<Score>) {
        let outcome = self.perform(scores);
        self.desk.settle(&self.job, outcome);
    }

    fn perform(&self, scores: &SyncSender<Score>) -> Result<(SessionResult, Played), Stop> {
        let mut session = Session::open(&self.job.plugin, &self.job.open, &Limits::default())?;
        self.job.fate.stops(session.stopper());
        let plan = session.plan()?;
        let sounds = sounds(&mut session, &plan)?;
        let score = Score {
            plan: plan.clone(),
            sounds: sounds.clone(),
        };
        scores.send(score).map_err(|_| Stop::Ended)?;
        let mut readings = Readings {
            next: Instant::now() + READINGS_EVERY,
        };
        let (mut play, mut listening) = (None, None);
        while let Ok(order) = self.inbox.recv() {
            match order {
                Order::Begin {
                    step,
                    repeat,
                    retry,
                    feed,
                    ear,
                } => {
                    session.begin(step, repeat, retry)?;
                    listening = ear.or(listening);
                    play = Some((step, repeat, feed));
                }
                Order::Heard(captured) => {
                    if let Some(ear) = &mut listening {
                        ear.hear(&captured);
                    }
                    let Some((step, repeat, feed)) = &mut play else {
                        continue;
                    };
                    if self.enough.load(Ordering::Acquire) {
                        continue;
                    }
                    tell_lost(&mut session, feed, &captured)?;
                    if let Some(frames) = feed.take(&captured) {
                        let sent = &sounds[*step as usize];
                        self.feed(&mut session, &plan, (*step, *repeat), &frames, sent)?;
                        readings.ask(&mut session, self)?;
                    }
                }
                Order::Note(note) => session.note(&note)?,
                Order::CatchUp(done) => {
                    // The conductor waits for it; where it is gone, so is the job.
                    let _ = done.send(());
                }
                Order::Finish { mut played, early } => {
                    played.notes.extend(listening.and_then(|ear| ear.note()));
                    let result = session.finish(early).map_err(|error| Stop::Plugin {
                        error,
                        notes: played.notes.clone(),
                    })?;
                    session.close();
                    return Ok((result, played));
                }
            }
        }
        Err(Stop::Ended)
    }

    fn feed(
        &self,
        session: &mut Session,
        plan: &Plan,
        (step, repeat): (u32, u32),
        frames: &Frames,
        sent: &Sound,
    ) -> Result<(), Stop> {
        let played = match sent {
            Sound::Whole(sent) => Some(played(sent, frames.first_frame, frames.link.len())),
            // The session renders it for itself where it needs it.
            Sound::Pilot => None,
        };
        let mut others = frames.others.iter();
        let mut channel = |kind: Kind| match kind {
            Kind::Link => Some(frames.link.as_slice()),
            Kind::Reference => frames.reference.as_deref(),
            Kind::Played => played.as_deref(),
            // The feed has them in the order of the plan.
            Kind::Other => others.next().map(Vec::as_slice),
            Kind::Unspecified => None,
        };
        let channels: Vec<Option<&[f32]>> = plan
            .captures
            .iter()
            .map(|capture| channel(capture.kind()))
            .collect();
        let block = Block {
            step,
            repeat,
            first_frame: frames.first_frame,
            stream_frame: frames.stream_frame,
            last: frames.last,
            channels: &channels,
        };
        if session.feed(&block)? == Fed::Enough {
            self.enough.store(true, Ordering::Release);
        }
        Ok(())
    }
}

/// Tells the session of the frames of a watch that were lost before these.
fn tell_lost(
    session: &mut Session,
    feed: &mut Feed,
    captured: &Captured,
) -> Result<(), PluginError> {
    let at_frame = feed.handed_frames() as f64;
    let lost = feed.skip_lost(captured);
    if lost == 0 {
        return Ok(());
    }
    let lost = LostFrames {
        frame_count: Some(lost as f64),
    };
    session.note(&SessionNote {
        note: Some(session_note::Note::Lost(lost)),
        at_frame,
    })
}

/// What was played at `first_frame` and after; silence past the end.
fn played(sent: &[f32], first_frame: u64, count: usize) -> Vec<f32> {
    let begin = usize::try_from(first_frame)
        .unwrap_or(usize::MAX)
        .min(sent.len());
    let end = begin.saturating_add(count).min(sent.len());
    let mut played = sent[begin..end].to_vec();
    played.resize(count, 0.0);
    played
}

struct Readings {
    next: Instant,
}

impl Readings {
    fn ask(&mut self, session: &mut Session, run: &Run) -> Result<(), Stop> {
        if Instant::now() >= self.next {
            self.next = Instant::now() + READINGS_EVERY;
            let readings = session.readings()?;
            if !readings.figures.is_empty() {
                run.desk
                    .watchers
                    .readings(&run.job.measurement.name, readings.figures);
            }
        }
        Ok(())
    }
}

/// The sound of every step: a watch's is rendered as it is played.
fn sounds(session: &mut Session, plan: &Plan) -> Result<Vec<Sound>, PluginError> {
    if is_open_ended(plan) {
        return Ok(vec![Sound::Pilot]);
    }
    let stimuli = render(session, plan)?;
    Ok(stimuli.into_iter().map(Sound::Whole).collect())
}

/// Renders every step of a plan as a whole, and checks its declared peak.
///
/// # Errors
/// What the plugin says.
pub fn render(session: &mut Session, plan: &Plan) -> Result<Vec<Arc<[f32]>>, PluginError> {
    let mut stimuli = Vec::with_capacity(plan.steps.len());
    for (number, step) in (0..).zip(&plan.steps) {
        let frame_count = step.frame_count.max(0) as usize;
        let mut samples = Vec::with_capacity(frame_count);
        while samples.len() < frame_count {
            let count = RENDER_FRAMES.min(frame_count - samples.len());
            let block = session.render(number, samples.len() as u64, count as u32)?;
            check_peak(&block, step.peak_dbfs, session.plugin())?;
            samples.extend(block);
        }
        stimuli.push(samples.into());
    }
    Ok(stimuli)
}
