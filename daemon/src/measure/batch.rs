//! One batch: workers of one plan, staggered by send, played together beside the reference.

use std::{
    sync::{Arc, PoisonError, mpsc},
    thread::JoinHandle,
    time::{Duration, Instant},
};

use goodwire_proto::{
    plugin::v1::plan::capture::Kind,
    v1::{Provenance, note::Level},
};

use super::{
    complete::{Played, note},
    conductor::{Conductor, next_answer},
    feed::Feed,
    job::Ending,
    sends::{Send, ear, sends, wake_ups},
    worker::{Score, Worker},
};
use crate::{
    audio::{
        Shape, TimeSource,
        performance::{Answer, Cancel, Ended, Performance, Prediction},
    },
    config::{LinkConfig, ReferenceConfig},
    safety,
};

/// A void repeat is played again at most so often.
const RETRIES_MAX: u32 = 3;
/// A device that brings nothing for so long is lost, whatever it says.
const ENGINE_PATIENCE: Duration = Duration::from_secs(8);

/// Workers of one plan.
pub struct Batch {
    workers: Vec<Worker>,
    sends: Vec<Send>,
    score: Score,
    reference: Option<ReferenceConfig>,
    shape: Shape,
    /// Peak of each return in the quiet room, in dBFS; empty where nothing is predicted.
    quiet_dbfs: Vec<f64>,
    play_count: i32,
    frames_played: u64,
    xruns_before: u64,
}

impl Batch {
    /// Sorts workers by plan: those of one plan play together. Equal requests have equal plans
    /// unless a link's own clip point or match changes them.
    pub fn of_equal_plans(
        workers: Vec<(Worker, Score)>,
        reference: Option<ReferenceConfig>,
        shape: &Shape,
        quiet_dbfs: &[f64],
    ) -> Vec<Self> {
        let mut batches: Vec<(Score, Vec<(Worker, Score)>)> = Vec::new();
        for (worker, score) in workers {
            match batches
                .iter_mut()
                .find(|(first, _)| !score.plan.alone && first.plan == score.plan)
            {
                Some((_, equal)) => equal.push((worker, score)),
                None => batches.push((score.clone(), vec![(worker, score)])),
            }
        }
        let make = |(score, equal): (Score, Vec<(Worker, Score)>)| {
            let (workers, scores): (Vec<Worker>, Vec<Score>) = equal.into_iter().unzip();
            Self {
                sends: sends(&workers, &scores, reference, shape),
                workers,
                score,
                reference,
                shape: shape.clone(),
                quiet_dbfs: quiet_dbfs.to_vec(),
                play_count: 0,
                frames_played: 0,
                xruns_before: 0,
            }
        };
        batches.into_iter().map(make).collect()
    }

    /// Plays all steps and lets the workers finish; gives their threads.
    pub fn perform(mut self, conductor: &Conductor) -> Vec<JoinHandle<()>> {
        self.xruns_before = conductor.engine.status().xrun_count;
        let steps = self.score.plan.steps.clone();
        let mut early = false;
        'all: for (number, step) in steps.iter().enumerate() {
            for _ in 0..step.repeat_count.max(1) {
                if self.play_count > 0 && !self.is_more_wanted() {
                    early = true;
                    break 'all;
                }
                match self.play(conductor, number) {
                    Ok(false) => {}
                    Ok(true) => {
                        early = true;
                        break 'all;
                    }
                    Err(ending) => return self.end(&ending),
                }
            }
        }
        self.finish(conductor, early)
    }

    /// Whether, after all that was heard, any worker needs another play.
    fn is_more_wanted(&self) -> bool {
        self.workers.iter().for_each(Worker::catch_up);
        !self.workers.iter().all(Worker::is_done)
    }

    fn end(self, ending: &Ending) -> Vec<JoinHandle<()>> {
        self.workers
            .into_iter()
            .map(|worker| worker.end(ending.clone()))
            .collect()
    }

    /// Plays one repeat of a step, again where frames were lost. True where no worker needs more.
    fn play(&mut self, conductor: &Conductor, step: usize) -> Result<bool, Ending> {
        for attempt in 0..=RETRIES_MAX {
            match self.play_once(conductor, step, attempt > 0)? {
                Ended::Complete { .. } => return Ok(false),
                Ended::Cancelled => return Ok(true),
                Ended::Lost(loss) => tracing::warn!(?loss, attempt, "frames were lost"),
                Ended::DeviceLost { text } => return Err(Ending::failed("device-lost", text)),
                Ended::TooLoud {
                    return_index,
                    heard_dbfs,
                    expected_dbfs,
                } => {
                    let text = format!(
                        "return {} answered with {heard_dbfs:.1} dBFS where at most \
                         {expected_dbfs:.1} dBFS was expected; the sound was ended at once: look \
                         at gains and wiring before measuring again",
                        return_index + 1
                    );
                    return Err(Ending::failed("louder-than-predicted", text));
                }
            }
        }
        let text = format!(
            "the interface lost frames in each of {} plays; see its xruns in status",
            RETRIES_MAX + 1
        );
        Err(Ending::failed("frames-lost", text))
    }

    fn play_once(
        &mut self,
        conductor: &Conductor,
        number: usize,
        retry: bool,
    ) -> Result<Ended, Ending> {
        let step = &self.score.plan.steps[number];
        let feed_frames = step.frame_count.max(0) as u64 + step.tail_frame_count.max(0) as u64;
        let stagger_max = self
            .sends
            .iter()
            .map(|send| send.delay_frames)
            .max()
            .unwrap_or(0);
        let frame_count = feed_frames + stagger_max;
        let repeat = self.play_count as u32;
        let wakes = number == 0 && (self.play_count == 0 || retry);
        let wake_ups = wakes.then(|| wake_ups(&self.sends, &self.workers));
        let rate_hz = f64::from(self.shape.rate_hz);
        for (index, worker) in self.workers.iter().enumerate() {
            let Some(link) = &worker.job.link else {
                continue;
            };
            let reference = self.reference.map(|reference| reference.r#return - 1);
            let feed = Feed::new(
                self.stagger(index),
                feed_frames,
                link.r#return - 1,
                reference,
                self.other_returns(&conductor.desk.config.links),
            );
            let ear = wake_ups
                .as_ref()
                .and_then(|all| ear(&self.sends, index, worker, all, rate_hz));
            worker.begin([number as u32, repeat], retry, feed, ear);
        }
        self.play_count += 1;
        let (answers, inbox) = mpsc::channel();
        let cancel = Arc::new(Cancel::default());
        conductor.engine.perform(Performance {
            parts: self.sends.iter().map(|send| send.part(number)).collect(),
            frame_count,
            cabled_returns: self.cabled_returns(),
            predictions: self.predictions(number, conductor),
            cancel: Arc::clone(&cancel),
            answers,
        });
        let tail_s = step.tail_frame_count.max(0) as f64 / rate_hz;
        let ended = self.attend(conductor, &inbox, &cancel, frame_count);
        // What was heard to its end has been silent since its tail began.
        let silent_s = match ended {
            Ok(Ended::Complete { .. }) => tail_s,
            _ => 0.0,
        };
        *conductor
            .last_sound
            .lock()
            .unwrap_or_else(PoisonError::into_inner) =
            Instant::now().checked_sub(Duration::from_secs_f64(silent_s));
        ended
    }

    /// Hands on what is heard until the performance has ended.
    fn attend(
        &mut self,
        conductor: &Conductor,
        inbox: &mpsc::Receiver<Answer>,
        cancel: &Cancel,
        frame_count: u64,
    ) -> Result<Ended, Ending> {
        let mut last_answer = Instant::now();
        loop {
            match next_answer(inbox) {
                Some(Answer::Captured(captured)) => {
                    last_answer = Instant::now();
                    self.workers
                        .iter()
                        .for_each(|worker| worker.heard(&captured));
                    let heard = captured.returns.first().map_or(0, Vec::len) as u64;
                    self.frames_played += heard;
                    self.tell_progress(conductor, captured.first_frame + heard, frame_count);
                }
                Some(Answer::Ended(ended)) => return Ok(ended),
                None if last_answer.elapsed() > ENGINE_PATIENCE => {
                    cancel.set();
                    let text = format!("the device {} brings no frames", self.shape.device);
                    return Err(Ending::failed("device-lost", text));
                }
                None => {}
            }
            for send in &self.sends {
                let done = send
                    .workers
                    .iter()
                    .all(|&index| self.workers[index].is_done());
                if done && !send.workers.is_empty() {
                    send.cancel.set();
                }
            }
            if self.workers.iter().all(Worker::is_done) {
                cancel.set();
            }
        }
    }

    fn tell_progress(&self, conductor: &Conductor, heard: u64, frame_count: u64) {
        let plays: i32 = self
            .score
            .plan
            .steps
            .iter()
            .map(|step| step.repeat_count.max(1))
            .sum();
        let before = f64::from(self.play_count - 1).min(f64::from(plays - 1));
        let share = (before + heard as f64 / frame_count.max(1) as f64) / f64::from(plays);
        for worker in &self.workers {
            conductor
                .desk
                .watchers
                .progress(&worker.job.measurement.name, share);
        }
    }

    /// Returns of the other links that the plan hears, from 0, in its order.
    fn other_returns(&self, links: &[LinkConfig]) -> Vec<usize> {
        let captures = self.score.plan.captures.iter();
        captures
            .filter(|capture| capture.kind() == Kind::Other)
            .filter_map(|capture| links.iter().find(|link| link.name == capture.link))
            .map(|link| link.r#return - 1)
            .collect()
    }

    /// Returns of the links that are matched, from 0.
    fn cabled_returns(&self) -> Vec<usize> {
        let matched = self
            .workers
            .iter()
            .filter(|worker| worker.job.open.is_match);
        matched
            .filter_map(|worker| Some(worker.job.link.as_ref()?.r#return - 1))
            .collect()
    }

    fn stagger(&self, worker: usize) -> u64 {
        let send = self
            .sends
            .iter()
            .find(|send| send.workers.contains(&worker));
        send.map_or(0, |send| send.delay_frames)
    }

    /// What is expected of the returns: the louder of the quiet room and the send with the gain.
    fn predictions(&self, step: usize, conductor: &Conductor) -> Vec<Prediction> {
        if self.quiet_dbfs.is_empty() {
            return Vec::new();
        }
        let sent_dbfs = self.score.plan.steps[step].peak_dbfs;
        let expect = |return_index: usize, gain_db: Option<f64>| Prediction {
            return_index,
            peak_dbfs: safety::expected_dbfs(self.quiet_dbfs[return_index], sent_dbfs, gain_db),
        };
        let store = &conductor.desk.store;
        let links = self
            .workers
            .iter()
            .filter_map(|worker| worker.job.link.as_ref());
        let mut expected: Vec<Prediction> = links
            .map(|link| {
                expect(
                    link.r#return - 1,
                    safety::last_gain_db(store, &link.name, self.shape.simulated),
                )
            })
            .collect();
        expected.extend(
            self.reference
                .map(|reference| expect(reference.r#return - 1, None)),
        );
        expected
    }

    fn finish(self, conductor: &Conductor, early: bool) -> Vec<JoinHandle<()>> {
        let xruns = conductor.engine.status().xrun_count - self.xruns_before;
        let stagger: Vec<u64> = (0..self.workers.len())
            .map(|index| self.stagger(index))
            .collect();
        let played = |stagger_frames: u64| Played {
            provenance: Provenance {
                backend: self.shape.backend.into(),
                device: self.shape.device.clone(),
                rate_hz: i32::try_from(self.shape.rate_hz).unwrap_or(i32::MAX),
                epoch: i32::try_from(conductor.engine.status().epoch).unwrap_or(i32::MAX),
                xrun_count: i32::try_from(xruns).unwrap_or(i32::MAX),
                play_count: self.play_count,
                stagger_frames: i32::try_from(stagger_frames).unwrap_or(i32::MAX),
                batch_frame_count: self.frames_played as f64,
                ..Provenance::default()
            },
            notes: clock_notes(&self.shape, self.reference),
        };
        let played: Vec<Played> = stagger.into_iter().map(played).collect();
        let workers = self.workers.into_iter().zip(played);
        workers
            .map(|(worker, played)| worker.finish(played, early))
            .collect()
    }
}

fn clock_notes(shape: &Shape, reference: Option<ReferenceConfig>) -> Vec<goodwire_proto::v1::Note> {
    if shape.locked || shape.time == TimeSource::Virtual || reference.is_some() {
        return Vec::new();
    }
    let text = "sends and returns of this device do not share one start: delay is only known with \
                a reference in the same capture";
    vec![note(Level::Warning, "two-clocks", text)]
}
