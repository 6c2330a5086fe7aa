//! Analyses recordings like a capture, on threads of their own: the rig is not needed.

use std::{
    sync::{Arc, Mutex, PoisonError, mpsc},
    thread::{self, JoinHandle},
};

use goodwire_proto::plugin::v1::{Plan, SessionNote, SessionResult, plan::capture::Kind};

use super::{
    complete::{Desk, Played},
    job::Job,
    worker::Stop,
};
use crate::plugins::{Block, Limits, Session};

/// Recordings that are analysed at the same time.
const THREADS: usize = 2;
/// Frames that are fed in one block.
const BLOCK_FRAMES: usize = 1 << 14;

/// The samples of an upload, one channel each.
#[derive(Debug, Clone)]
pub struct Sounds {
    /// What was played.
    pub sent: Vec<f32>,
    /// What the link returned.
    pub returned: Vec<f32>,
    /// What the cable returned, of the same rate and start.
    pub reference: Option<Vec<f32>>,
    /// What somebody noted along the way, in order of time.
    pub marks: Vec<SessionNote>,
}

/// Threads that analyse recordings.
pub struct Recorded {
    jobs: Option<mpsc::Sender<(Job, Sounds)>>,
    threads: Vec<JoinHandle<()>>,
}

impl Recorded {
    /// Starts the threads.
    ///
    /// # Panics
    /// Where the machine has no thread left at start-up.
    #[must_use]
    pub fn start(desk: &Arc<Desk>) -> Self {
        let (jobs, inbox) = mpsc::channel::<(Job, Sounds)>();
        let inbox = Arc::new(Mutex::new(inbox));
        let thread = |number: usize| {
            let (desk, inbox) = (Arc::clone(desk), Arc::clone(&inbox));
            thread::Builder::new()
                .name(format!("recordings {number}"))
                .spawn(move || {
                    let next = || inbox.lock().unwrap_or_else(PoisonError::into_inner).recv();
                    while let Ok((job, sounds)) = next() {
                        analyse(&desk, &job, &sounds);
                    }
                })
                .expect("a thread at start-up")
        };
        Self {
            jobs: Some(jobs),
            threads: (0..THREADS).map(thread).collect(),
        }
    }

    /// Analyses recordings as soon as a thread is free.
    pub fn push(&self, job: Job, sounds: Sounds) {
        if let Some(jobs) = &self.jobs {
            // The threads live as long as this handle.
            let _ = jobs.send((job, sounds));
        }
    }
}

impl Drop for Recorded {
    fn drop(&mut self) {
        self.jobs = None;
        for thread in self.threads.drain(..) {
            // A panic was logged by its thread.
            let _ = thread.join();
        }
    }
}

fn analyse(desk: &Desk, job: &Job, sounds: &Sounds) {
    if job.fate.ending().is_some() {
        return desk.settle(job, Err(Stop::Ended));
    }
    desk.run(job);
    let outcome = perform(job, sounds);
    let played = Played::default();
    desk.settle(job, outcome.map(|result| (result, played)));
}

fn perform(job: &Job, sounds: &Sounds) -> Result<SessionResult, Stop> {
    let mut session = Session::open(&job.plugin, &job.open, &Limits::default())?;
    job.fate.stops(session.stopper());
    let plan = session.plan()?;
    session.begin(0, 0, false)?;
    let none: Option<&[f32]> = None;
    feed(
        job,
        &mut session,
        &plan,
        [none, none, Some(&sounds.sent)],
        false,
    )?;
    for mark in &sounds.marks {
        session.note(mark)?;
    }
    let mut frame_count = sounds.returned.len();
    if let Some(reference) = &sounds.reference {
        frame_count = frame_count.min(reference.len());
    }
    let reference = sounds
        .reference
        .as_ref()
        .map(|reference| &reference[..frame_count]);
    let returned = Some(&sounds.returned[..frame_count]);
    feed(job, &mut session, &plan, [returned, reference, none], true)?;
    let result = session.finish(false)?;
    session.close();
    Ok(result)
}

/// Feeds the channels LINK, REFERENCE and PLAYED, as far as they are given.
fn feed(
    job: &Job,
    session: &mut Session,
    plan: &Plan,
    sounds: [Option<&[f32]>; 3],
    last: bool,
) -> Result<(), Stop> {
    let frame_count = sounds
        .iter()
        .flatten()
        .map(|sound| sound.len())
        .max()
        .unwrap_or(0);
    let mut first_frame = 0;
    loop {
        if job.fate.ending().is_some() {
            return Err(Stop::Ended);
        }
        let end = (first_frame + BLOCK_FRAMES).min(frame_count);
        let cut = |sound: Option<&'_ [f32]>| sound.map(|sound| first_frame..end.min(sound.len()));
        let ranges = sounds.map(cut);
        let channel = |kind: Kind| {
            let index = match kind {
                Kind::Link => 0,
                Kind::Reference => 1,
                Kind::Played => 2,
                Kind::Other | Kind::Unspecified => return None,
            };
            sounds[index]
                .zip(ranges[index].clone())
                .map(|(sound, range)| &sound[range])
        };
        let channels: Vec<Option<&[f32]>> = plan
            .captures
            .iter()
            .map(|capture| channel(capture.kind()))
            .collect();
        session.feed(&Block {
            step: 0,
            repeat: 0,
            first_frame: first_frame as u64,
            stream_frame: first_frame as u64,
            last: last && end == frame_count,
            channels: &channels,
        })?;
        first_frame = end;
        if first_frame >= frame_count {
            return Ok(());
        }
    }
}
