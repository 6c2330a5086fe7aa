//! Plays and hears a plan without an end, until every worker has seen enough or was told to finish.
//!
//! Lost frames are cut out: the performance goes on at the frame where time is, and the workers
//! notice by the frame numbers what is missing.

use std::{
    sync::{Arc, mpsc},
    thread::JoinHandle,
    time::{Duration, Instant},
};

use goodwire_proto::v1::note::Level;

use super::{
    super::{
        complete::{note, of_plugin},
        conductor::{ANSWER_WAIT, Conductor, next_answer},
        feed::Feed,
        pilot::Renderer,
        worker::Worker,
    },
    Batch, ENGINE_PATIENCE,
    clocks::Clocks,
    too_loud,
};
use crate::{
    audio::performance::{Answer, Cancel, Captured, Ended, OpenEnd, Performance, Place},
    clock,
};

/// So long a watch waits for a device that was lost.
const DEVICE_PATIENCE: Duration = Duration::from_secs(60);

/// How a watch stands.
struct State {
    renderer: Option<Renderer>,
    place: Option<Place>,
}

impl Batch {
    /// Watches to the end; gives the threads.
    pub(super) fn watch(mut self, conductor: &Conductor) -> Vec<JoinHandle<()>> {
        let mut state = self.begin_watch(conductor);
        let ending = loop {
            if self.workers.iter().all(Worker::is_done) {
                break None;
            }
            let ended = self.watch_once(conductor, &mut state);
            if let Some(error) = state.renderer.as_ref().and_then(Renderer::failure) {
                conductor
                    .desk
                    .registry
                    .report_failure(&self.workers[0].job.plugin.path);
                break Some(of_plugin(error));
            }
            match ended {
                Ended::Complete { .. } | Ended::Cancelled => break None,
                Ended::Lost(loss) => {
                    tracing::debug!(?loss, "frames of a watch were lost");
                    self.workers.iter().for_each(Worker::catch_up);
                }
                Ended::DeviceLost { text } => {
                    if !self.device_returns(conductor) {
                        let text = format!("{text}; the result is of what was seen before");
                        self.notes.push(note(Level::Warning, "device-lost", text));
                        break None;
                    }
                }
                Ended::TooLoud {
                    return_index,
                    heard_dbfs,
                    expected_dbfs,
                } => break Some(too_loud(return_index, heard_dbfs, expected_dbfs)),
            }
        };
        let pilot = state.renderer.map(Renderer::end);
        let threads = match ending {
            Some(ending) => self.end(&ending),
            None => {
                self.finish_done(conductor);
                self.finish(conductor, true)
            }
        };
        threads.into_iter().chain(pilot).collect()
    }

    fn begin_watch(&mut self, conductor: &Conductor) -> State {
        let rate_hz = f64::from(self.shape.rate_hz);
        self.begun = Some(Clocks::read(&*conductor.desk.clock));
        for worker in &self.workers {
            let Some(link) = &worker.job.link else {
                continue;
            };
            let feed = Feed::new(
                0,
                None,
                link.r#return - 1,
                self.reference.map(|reference| reference.r#return - 1),
                self.other_returns(&conductor.desk.config.links),
            );
            let seen = worker.job.kept_at.map_or(0, |kept| kept.frame);
            worker.begin([0, 0], false, feed.from_frame(seen), None);
            let running = worker.running(rate_hz);
            running.hear(seen);
            conductor.desk.watches.begin(worker.job.id(), running);
        }
        let peak_dbfs = self.score.plan.steps[0].peak_dbfs;
        let is_heard = !self.sends.is_empty();
        State {
            renderer: is_heard.then(|| Renderer::start(&self.workers[0].job, peak_dbfs)),
            place: self.kept_place(),
        }
    }

    /// Where the watches of an earlier daemon go on; `None` where they begin. They began at one
    /// moment, so one place is theirs; in simulated time it is that of the one that came farthest.
    fn kept_place(&self) -> Option<Place> {
        let kept = self.workers.iter().filter_map(|worker| worker.job.kept_at);
        kept.map(|kept| kept.place).max_by_key(|place| place.frame)
    }

    /// Plays and hears until something ends it.
    fn watch_once(&mut self, conductor: &Conductor, state: &mut State) -> Ended {
        self.play_count += 1;
        let (answers, inbox) = mpsc::channel();
        let cancel = Arc::new(Cancel::default());
        let is_heard = state.renderer.is_some();
        conductor.engine.perform(Performance {
            parts: self.sends.iter().map(|send| send.part(0)).collect(),
            frame_count: 0,
            open_end: Some(OpenEnd {
                pilot: state.renderer.as_ref().map(Renderer::pilot),
                place: state.place,
            }),
            cabled_returns: Vec::new(),
            predictions: if is_heard {
                self.predictions(0, conductor)
            } else {
                Vec::new()
            },
            cancel: Arc::clone(&cancel),
            answers,
        });
        let mut last_answer = Instant::now();
        loop {
            match next_answer(&inbox) {
                Some(Answer::Captured(captured)) => {
                    last_answer = Instant::now();
                    state.place = Some(self.come_to(conductor, &captured));
                }
                Some(Answer::Ended(ended)) => {
                    if is_heard {
                        conductor.sounded(0.0);
                    }
                    return ended;
                }
                None if last_answer.elapsed() > ENGINE_PATIENCE && !cancel.is_set() => {
                    cancel.set();
                    let text = format!("the device {} brings no frames", self.shape.device);
                    return Ended::DeviceLost { text };
                }
                None => {}
            }
            self.finish_done(conductor);
            self.quieten_done();
            conductor.tell_waiting(&self.workers[0].job);
            if self.workers.iter().all(Worker::is_done) {
                cancel.set();
            }
        }
    }

    /// Hands on what was heard, and gives where that ends.
    fn come_to(&mut self, conductor: &Conductor, captured: &Arc<Captured>) -> Place {
        let heard = self.hand_on(captured);
        let frame = captured.first_frame + heard;
        let expected = self.score.plan.steps[0].expected_frame_count;
        for worker in self.workers.iter().filter(|worker| !worker.is_finished()) {
            if let Some(running) = conductor.desk.watches.get(worker.job.id()) {
                running.hear(frame);
            }
            if let Some(expected) = expected.filter(|expected| *expected > 0.0) {
                let share = (frame as f64 / expected).min(1.0);
                let name = &worker.job.measurement.name;
                conductor.desk.watchers.progress(name, share);
            }
        }
        Place {
            frame,
            stream_frame: captured.stream_frame + heard,
            epoch: captured.epoch,
            at: clock::since_boot(),
        }
    }

    /// Lets each worker that needs no more give its result now, whatever the others need.
    fn finish_done(&mut self, conductor: &Conductor) {
        for index in 0..self.workers.len() {
            let worker = &self.workers[index];
            if worker.is_done() && !worker.is_finished() {
                let early = !worker.has_enough();
                let played = self.played(conductor, index);
                self.workers[index].finish(played, early);
            }
        }
    }

    /// Waits for a lost device. False where it does not come back in time.
    fn device_returns(&self, conductor: &Conductor) -> bool {
        let begin = Instant::now();
        while begin.elapsed() < DEVICE_PATIENCE && !self.workers.iter().all(Worker::is_done) {
            let status = conductor.engine.status();
            if status.shape.is_some_and(|shape| shape == self.shape) {
                return true;
            }
            std::thread::sleep(ANSWER_WAIT);
        }
        false
    }
}
