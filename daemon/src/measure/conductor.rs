//! Plays one batch of equal jobs at a time: waits for the interface, listens to the room, opens the
//! plugins, and hands the batch on.

use std::{
    sync::{
        Arc, Mutex, PoisonError,
        mpsc::{self, Receiver},
    },
    thread::{self, JoinHandle},
    time::{Duration, Instant},
};

use super::{
    batch::Batch,
    complete::Desk,
    job::{Ending, Job},
    queue::Turn,
    worker::{Stop, Worker},
};
use crate::{
    audio::{
        Shape,
        engine::Engine,
        listening::Loudness,
        performance::{Answer, Cancel, Ended, Performance, QuietRule},
    },
    safety,
};

/// How long measurements wait for an interface that is gone, before they fail with its name.
const INTERFACE_PATIENCE: Duration = Duration::from_secs(8);
/// How often the ends of jobs are looked at while an answer of the engine is waited for.
pub(super) const ANSWER_WAIT: Duration = Duration::from_millis(10);
/// The room is listened to at most so often, where xruns void it.
const LISTENING_TRIES: usize = 4;
/// The daemon's own last sound does not count as programme: listening begins so long after it.
const OWN_SOUND_FADES: Duration = Duration::from_secs(1);

/// The thread that measures.
pub struct Conductor {
    pub(super) desk: Arc<Desk>,
    pub(super) engine: Arc<Engine>,
    last_sound: Mutex<Option<Instant>>,
    finishing: Mutex<Vec<JoinHandle<()>>>,
}

impl Conductor {
    /// Starts the thread; it ends when the queue is closed and everything is settled.
    ///
    /// # Panics
    /// Where the machine has no thread left at start-up.
    #[must_use]
    pub fn start(desk: Arc<Desk>, engine: Arc<Engine>) -> JoinHandle<()> {
        let finishing = Mutex::default();
        let conductor = Self {
            desk,
            engine,
            last_sound: Mutex::default(),
            finishing,
        };
        thread::Builder::new()
            .name("conductor".into())
            .spawn(move || conductor.run())
            .expect("a thread at start-up")
    }

    fn run(self) {
        while let Some(turn) = self.desk.queue.next() {
            match turn {
                Turn::Job(job) => self.measure(*job),
                Turn::Check(check) => self.check_wiring(check),
            }
            self.finishing().retain(|thread| !thread.is_finished());
        }
        let finishing = std::mem::take(&mut *self.finishing());
        for thread in finishing {
            // A panic of a worker was logged by its thread.
            let _ = thread.join();
        }
    }

    fn finishing(&self) -> std::sync::MutexGuard<'_, Vec<JoinHandle<()>>> {
        self.finishing
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
    }

    fn measure(&self, first: Job) {
        let key = first.batch_key();
        let mut jobs = vec![first];
        jobs.extend(self.desk.queue.take_equal(&key));
        let heard = match self.prepare(jobs.as_slice()) {
            Ok(heard) => heard,
            Err(ending) => return self.end_all(jobs, &ending),
        };
        jobs.extend(self.desk.queue.take_equal(&key));
        let jobs = self.settle_ended(jobs);
        let (shape, quiet_dbfs) = heard;
        let workers = jobs
            .into_iter()
            .filter_map(|job| self.open(job, &shape))
            .collect();
        for batch in Batch::of_equal_plans(workers, self.desk.config.reference, &shape, &quiet_dbfs)
        {
            let threads = batch.perform(self);
            self.finishing().extend(threads);
        }
    }

    /// Waits for the interface and for a quiet room. Gives the returns' levels in dBFS, which are
    /// empty on the simulated rig, where nobody can be disturbed.
    pub(super) fn prepare<P: Party + ?Sized>(
        &self,
        party: &P,
    ) -> Result<(Shape, Vec<f64>), Ending> {
        let shape = self.interface(party)?;
        if party.is_silent() {
            return Ok((shape, Vec::new()));
        }
        safety::not_held(&self.desk.store)?;
        self.permitted(party)?;
        if shape.simulated {
            return Ok((shape, Vec::new()));
        }
        party.waits(&self.desk, "hears whether the room is quiet");
        let quiet_dbfs = self.listen(party, &shape)?;
        safety::not_held(&self.desk.store)?;
        Ok((shape, quiet_dbfs))
    }

    /// A permit may have run out while the jobs waited.
    fn permitted<P: Party + ?Sized>(&self, party: &P) -> Result<(), Ending> {
        if party.is_attended() || self.desk.permitted().unwrap_or(false) {
            return Ok(());
        }
        let text = safety::permit_text(&self.desk.config.safety);
        Err(Ending::failed("no-permit", text))
    }

    fn interface<P: Party + ?Sized>(&self, party: &P) -> Result<Shape, Ending> {
        let begin = Instant::now();
        loop {
            let status = self.engine.status();
            if let Some(shape) = status.shape {
                return Ok(shape);
            }
            if begin.elapsed() > INTERFACE_PATIENCE {
                return Err(Ending::failed("device-lost", status.text));
            }
            if party.has_ended() {
                return Err(Ending::Cancelled("ended before it began".into()));
            }
            let text = format!("waits for the interface: {}", status.text);
            party.waits(&self.desk, &text);
            thread::sleep(ANSWER_WAIT);
        }
    }

    /// Hears the returns before anything is played. An xrun meanwhile begins it anew.
    fn listen<P: Party + ?Sized>(&self, party: &P, shape: &Shape) -> Result<Vec<f64>, Ending> {
        self.let_own_sound_fade();
        let rule = safety::quiet_rule(&self.desk.config.safety);
        for _ in 0..LISTENING_TRIES {
            let mut returns = vec![Loudness::new(shape.rate_hz); shape.return_count];
            match self.listen_once(party, shape, &rule, &mut returns) {
                Ended::Complete { .. } => return judge_room(&returns, &rule),
                Ended::Lost(_) => {}
                Ended::DeviceLost { text } => return Err(Ending::failed("device-lost", text)),
                Ended::Cancelled | Ended::TooLoud { .. } => {
                    return Err(Ending::Cancelled("ended before it began".into()));
                }
            }
        }
        let text = format!("the interface lost frames in each of {LISTENING_TRIES} listenings");
        Err(Ending::failed("frames-lost", text))
    }

    fn listen_once<P: Party + ?Sized>(
        &self,
        party: &P,
        shape: &Shape,
        rule: &QuietRule,
        returns: &mut [Loudness],
    ) -> Ended {
        let (answers, inbox) = mpsc::channel();
        let cancel = Arc::new(Cancel::default());
        self.engine.perform(Performance {
            parts: Vec::new(),
            frame_count: (rule.duration_s * f64::from(shape.rate_hz)) as u64,
            open_end: None,
            cabled_returns: Vec::new(),
            predictions: Vec::new(),
            cancel: Arc::clone(&cancel),
            answers,
        });
        let begin = Instant::now();
        loop {
            match next_answer(&inbox) {
                Some(Answer::Captured(captured)) => {
                    for (loudness, block) in returns.iter_mut().zip(&captured.returns) {
                        loudness.hear(block);
                    }
                }
                Some(Answer::Ended(ended)) => return ended,
                None if begin.elapsed() > INTERFACE_PATIENCE => {
                    cancel.set();
                    let text = format!("the device {} brings no frames", shape.device);
                    return Ended::DeviceLost { text };
                }
                None => {}
            }
            if party.has_ended() {
                cancel.set();
            }
        }
    }

    /// Takes note that the last sound was played so many seconds ago.
    pub(super) fn sounded(&self, silent_s: f64) {
        *self
            .last_sound
            .lock()
            .unwrap_or_else(PoisonError::into_inner) =
            Instant::now().checked_sub(Duration::from_secs_f64(silent_s));
    }

    /// Tells those who wait which measurement has the rig.
    pub(super) fn tell_waiting(&self, holder: &Job) {
        let waiting = self.desk.queue.waiting_names();
        if waiting.is_empty() {
            return;
        }
        let held = &holder.measurement;
        let text = format!(
            "waits for {} ({} of {}), which has the rig",
            held.name, held.analysis, held.link
        );
        for name in waiting {
            self.desk.watchers.waiting(&name, &text);
        }
    }

    fn let_own_sound_fade(&self) {
        let last = *self
            .last_sound
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        if let Some(left) = last.and_then(|end| OWN_SOUND_FADES.checked_sub(end.elapsed())) {
            thread::sleep(left);
        }
    }

    fn open(&self, mut job: Job, shape: &Shape) -> Option<(Worker, super::worker::Score)> {
        self.desk.run(&job);
        let rate_hz = i32::try_from(shape.rate_hz).unwrap_or(i32::MAX);
        job.open.rate_hz = rate_hz;
        job.open.returned_rate_hz = rate_hz;
        job.open.synchronous = shape.locked;
        job.open.simulated = shape.simulated;
        Worker::start(job, &self.desk)
    }

    fn settle_ended(&self, jobs: Vec<Job>) -> Vec<Job> {
        let (ended, alive): (Vec<_>, Vec<_>) = jobs
            .into_iter()
            .partition(|job| job.fate.ending().is_some());
        for job in ended {
            self.desk.settle(&job, Err(Stop::Ended));
        }
        alive
    }

    fn end_all(&self, jobs: Vec<Job>, ending: &Ending) {
        for job in jobs {
            if let (Some(_), Ending::Failed { text, .. }) = (job.kept_at, ending) {
                // What was seen before the restart is not lost with what cannot go on.
                self.desk.close(&job, text);
                continue;
            }
            job.fate.end(ending.clone());
            self.desk.settle(&job, Err(Stop::Ended));
        }
    }
}

/// Who waits for the rig.
pub(super) trait Party {
    /// True once nothing has to be played for anybody.
    fn has_ended(&self) -> bool;
    /// True where each has somebody in the room who said that sound may be played.
    fn is_attended(&self) -> bool;
    /// True where nothing is to be played for anybody.
    fn is_silent(&self) -> bool;
    /// Tells what is waited for.
    fn waits(&self, desk: &Desk, text: &str);
}

impl Party for [Job] {
    fn has_ended(&self) -> bool {
        self.iter().all(|job| job.fate.ending().is_some())
    }

    fn is_attended(&self) -> bool {
        self.iter().all(|job| job.is_attended)
    }

    fn is_silent(&self) -> bool {
        self.iter().all(Job::is_silent)
    }

    fn waits(&self, desk: &Desk, text: &str) {
        for job in self {
            desk.watchers.waiting(&job.measurement.name, text);
        }
    }
}

/// The engine's next answer; `None` where there is none within the wait.
pub(super) fn next_answer(inbox: &Receiver<Answer>) -> Option<Answer> {
    match inbox.recv_timeout(ANSWER_WAIT) {
        Ok(answer) => Some(answer),
        Err(mpsc::RecvTimeoutError::Timeout) => None,
        Err(mpsc::RecvTimeoutError::Disconnected) => Some(Answer::Ended(Ended::DeviceLost {
            text: "the audio engine has ended".into(),
        })),
    }
}

/// Says whether a programme is on a return. Gives each return's quiet peak in dBFS.
fn judge_room(returns: &[Loudness], rule: &QuietRule) -> Result<Vec<f64>, Ending> {
    for (number, loudness) in (1..).zip(returns) {
        if let Some(level_dbfs) = loudness.programme_dbfs(rule) {
            let text = format!(
                "return {number} heard {level_dbfs:.1} dBFS in the {} s before playing, above the \
                 {} dBFS of safety.quiet_dbfs; nothing was played: measure when the room is quiet",
                rule.duration_s, rule.limit_dbfs
            );
            return Err(Ending::failed("room-in-use", text));
        }
    }
    Ok(returns.iter().map(Loudness::peak_dbfs).collect())
}
