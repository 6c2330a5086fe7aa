//! Plays the steps of a plan that has an end, each as often as it says.

use std::{
    sync::{Arc, mpsc},
    time::Instant,
};

use super::{
    super::{
        conductor::{Conductor, next_answer},
        feed::Feed,
        job::Ending,
        sends::{ear, wake_ups},
        worker::Worker,
    },
    Batch, ENGINE_PATIENCE, too_loud,
};
use crate::audio::performance::{Answer, Cancel, Ended, Performance};

/// A void repeat is played again at most so often.
const RETRIES_MAX: u32 = 3;

impl Batch {
    /// Plays one repeat of a step, again where frames were lost. True where no worker needs more.
    pub(super) fn play(&mut self, conductor: &Conductor, step: usize) -> Result<bool, Ending> {
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
                } => return Err(too_loud(return_index, heard_dbfs, expected_dbfs)),
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
                Some(feed_frames),
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
            open_end: None,
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
        conductor.sounded(silent_s);
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
                    let heard = self.hand_on(&captured);
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
            self.quieten_done();
            conductor.tell_waiting(&self.workers[0].job);
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
}
