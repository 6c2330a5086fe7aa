//! One batch: workers of one plan, staggered by send, played together beside the reference.

mod clocks;
mod expect;
mod play;
mod watch;

use std::{sync::Arc, thread::JoinHandle, time::Duration};

use goodwire_proto::v1::{Note, Provenance, note::Level};

use self::clocks::Clocks;
use super::{
    complete::{Played, note},
    conductor::Conductor,
    job::Ending,
    sends::{Send, sends},
    worker::{Score, Worker},
};
use crate::{
    audio::{Shape, TimeSource, performance::Captured},
    config::ReferenceConfig,
    plugins::is_open_ended,
};

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
    /// What is to be said of the results.
    notes: Vec<Note>,
    /// The clocks when a watch began.
    begun: Option<Clocks>,
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
                notes: clock_notes(shape, reference),
                begun: None,
            }
        };
        batches.into_iter().map(make).collect()
    }

    /// Plays all steps and lets the workers finish; gives their threads.
    pub fn perform(mut self, conductor: &Conductor) -> Vec<JoinHandle<()>> {
        self.xruns_before = conductor.engine.status().xrun_count;
        if is_open_ended(&self.score.plan) {
            return self.watch(conductor);
        }
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

    /// Hands on what was heard; gives how many frames.
    fn hand_on(&mut self, captured: &Arc<Captured>) -> u64 {
        self.workers
            .iter()
            .for_each(|worker| worker.heard(captured));
        let heard = captured.returns.first().map_or(0, Vec::len) as u64;
        self.frames_played += heard;
        heard
    }

    /// Silences the sends whose workers need no more.
    fn quieten_done(&self) {
        for send in &self.sends {
            let done = send
                .workers
                .iter()
                .all(|&index| self.workers[index].is_done());
            if done && !send.workers.is_empty() {
                send.cancel.set();
            }
        }
    }

    fn played(&self, conductor: &Conductor, worker: usize) -> Played {
        let status = conductor.engine.status();
        let xruns = status.xrun_count - self.xruns_before;
        let stagger_frames = self.stagger(worker);
        let now = Clocks::read(&*conductor.desk.clock);
        let of_clocks = self.begun.map(|begun| begun.notes_until(&now));
        Played {
            provenance: Provenance {
                backend: self.shape.backend.into(),
                device: self.shape.device.clone(),
                rate_hz: i32::try_from(self.shape.rate_hz).unwrap_or(i32::MAX),
                epoch: i32::try_from(status.epoch).unwrap_or(i32::MAX),
                xrun_count: i32::try_from(xruns).unwrap_or(i32::MAX),
                play_count: self.play_count,
                stagger_frames: i32::try_from(stagger_frames).unwrap_or(i32::MAX),
                batch_frame_count: self.frames_played as f64,
                ..Provenance::default()
            },
            notes: [&self.notes[..], &of_clocks.unwrap_or_default()].concat(),
        }
    }

    fn finish(mut self, conductor: &Conductor, early: bool) -> Vec<JoinHandle<()>> {
        for index in 0..self.workers.len() {
            let played = self.played(conductor, index);
            self.workers[index].finish(played, early);
        }
        self.workers.into_iter().map(Worker::into_thread).collect()
    }
}

/// The ending of those whose room answered too loudly.
fn too_loud(return_index: usize, heard_dbfs: f64, expected_dbfs: f64) -> Ending {
    let text = format!(
        "return {} answered with {heard_dbfs:.1} dBFS where at most {expected_dbfs:.1} dBFS was \
         expected; the sound was ended at once: look at gains and wiring before measuring again",
        return_index + 1
    );
    Ending::failed("louder-than-predicted", text)
}

fn clock_notes(shape: &Shape, reference: Option<ReferenceConfig>) -> Vec<Note> {
    if shape.locked || shape.time == TimeSource::Virtual || reference.is_some() {
        return Vec::new();
    }
    let text = "sends and returns of this device do not share one start: delay is only known with \
                a reference in the same capture";
    vec![note(Level::Warning, "two-clocks", text)]
}
