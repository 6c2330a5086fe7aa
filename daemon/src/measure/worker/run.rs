//! One job's own thread: drives its plugin from the opening to the stored result.

use std::sync::{
    Arc,
    atomic::{AtomicBool, Ordering},
    mpsc::{Receiver, SyncSender},
};

use goodwire_proto::plugin::v1::{
    LostFrames, Plan, SessionNote, SessionResult, plan::capture::Kind, session_note,
};

use super::{Order, Score, Stop, reader::Reader};
use crate::{
    audio::performance::{Captured, Sound},
    measure::{
        complete::{Desk, Played},
        feed::{Feed, Frames},
        job::Job,
    },
    plugins::{Block, Fed, Limits, PluginError, Session, check_peak, is_open_ended},
};

/// Frames that are rendered in one call.
const RENDER_FRAMES: usize = 1 << 16;

/// What the worker's thread works with.
pub(super) struct Run {
    pub job: Job,
    pub desk: Arc<Desk>,
    pub inbox: Receiver<Order>,
    pub enough: Arc<AtomicBool>,
}

impl Run {
    /// Lives until the job is settled.
    pub fn live(self, scores: &SyncSender<Score>) {
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
        let mut reader = Reader::new(&self.job, &self.desk);
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
                        reader.read(&mut session, feed.handed_frames())?;
                    }
                }
                Order::Note(note) => {
                    session.note(&note)?;
                    reader.keep_soon();
                }
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
