//! From a plugin's result to a stored, judged measurement that watchers are told of.

use std::{path::PathBuf, sync::Arc};

use goodwire_proto::{
    plugin::{self, v1::SessionResult},
    v1::{
        Calibration, Figure, Measurement, Note, Provenance, Sound, calibration::Side,
        measurement::State, note::Level,
    },
};

use super::{
    job::{Ending, Job, bare},
    queue::Queue,
    watch::Watchers,
    watches::Watches,
    worker::Stop,
};
use crate::{
    clock::SharedClock,
    config::Config,
    dbu::id_in_dbu,
    judge,
    plugins::{PluginError, Registry},
    rounds::MessageCounts,
    store::{Store, StoreError},
};

/// Volts of 0 dBu: 1 mW in 600 ohm, the square root of 0.6.
const DBU_VOLTS: f64 = 0.774_596_669_241_483_4;

/// What was done at the interface for a job.
#[derive(Debug, Clone, Default)]
pub struct Played {
    /// The interface, its stream and its xruns, as far as the job was live.
    pub provenance: Provenance,
    /// What the conductor has to say of the result.
    pub notes: Vec<Note>,
}

/// Where results are judged, stored and told.
pub struct Desk {
    /// The configuration.
    pub config: Arc<Config>,
    /// The store.
    pub store: Store,
    /// The plugins.
    pub registry: Arc<Registry>,
    /// Those who wait for results.
    pub watchers: Watchers,
    /// Those who wait for the rig.
    pub queue: Queue,
    /// The watches that run.
    pub watches: Watches,
    /// Where uploads are kept until they are read.
    pub spool_dir: PathBuf,
    /// The wall clock.
    pub clock: SharedClock,
    /// What became of messages.
    pub message_counts: MessageCounts,
}

impl Desk {
    /// Says that a job plays or computes now.
    pub fn run(&self, job: &Job) -> Measurement {
        let mut measurement = job.measurement.clone();
        measurement.set_state(State::Running);
        // One that goes on after a restart began before it.
        measurement
            .start_time
            .get_or_insert_with(|| self.clock.timestamp());
        if let Err(error) = self.store.update(&measurement) {
            tracing::error!(%error, measurement = job.id(), "the start was not stored");
        }
        self.watchers.tell(measurement.clone());
        measurement
    }

    /// Ends one measurement. One that waits is settled at once, one that runs by its worker.
    pub fn end(&self, id: &str, ending: Ending) {
        self.queue.end(id, ending);
        self.settle_withdrawn();
    }

    /// Ends every measurement, and says how many were not ended before.
    pub fn end_all(&self, ending: &Ending) -> usize {
        let count = self.queue.end_all(ending);
        self.settle_withdrawn();
        count
    }

    /// Settles the jobs that were ended while they waited.
    pub fn settle_withdrawn(&self) {
        for job in self.queue.withdraw_ended() {
            self.settle(&job, Err(Stop::Ended));
        }
    }

    /// Ends a job: with its result, or with the reason why there is none.
    pub fn settle(&self, job: &Job, outcome: Result<(SessionResult, Played), Stop>) {
        self.report_health(job, &outcome);
        let ending = job.fate.ending();
        if ending == Some(Ending::DaemonEnds) && self.is_kept(job) {
            return self.leave(job);
        }
        let mut measurement = self.present(job);
        measurement.end_time = Some(self.clock.timestamp());
        measurement.progress = 1.0;
        let mut sounds = Vec::new();
        match (ending, outcome) {
            (Some(ending), _) => fail(&mut measurement, &ending),
            (None, Ok((mut result, played))) => {
                sounds = std::mem::take(&mut result.sounds);
                measurement.sounds = sounds.iter().map(told_sound).collect();
                self.fill(&mut measurement, job, result, played);
            }
            (None, Err(Stop::Ended)) => {
                fail(
                    &mut measurement,
                    &Ending::failed("interrupted", "the daemon ended"),
                );
            }
            (None, Err(Stop::Plugin { error, notes })) => match self.saved(job, &error) {
                Some((result, played)) => self.fill(&mut measurement, job, result, played),
                None => {
                    measurement.notes = notes;
                    fail(&mut measurement, &of_plugin(&error));
                }
            },
        }
        self.judge(&mut measurement, job);
        self.store_and_tell(measurement, sounds);
    }

    /// True where the next daemon takes up a watch.
    fn is_kept(&self, job: &Job) -> bool {
        job.is_watch && self.store.keeps_watch(job.id()).unwrap_or(false)
    }

    /// Leaves a watch as it is for the next daemon; those who follow it are told to ask again.
    fn leave(&self, job: &Job) {
        self.queue.forget(job.id());
        self.watches.end(job.id());
        self.watchers.drop(&job.measurement.name);
    }

    /// The measurement as it was last stored, so that its start is kept.
    fn present(&self, job: &Job) -> Measurement {
        self.store
            .get(job.id())
            .unwrap_or_else(|_| job.measurement.clone())
    }

    fn report_health(&self, job: &Job, outcome: &Result<(SessionResult, Played), Stop>) {
        match outcome {
            Err(Stop::Plugin { error, .. }) if error.is_fault() => {
                self.registry.report_failure(&job.plugin.path);
            }
            Ok(_)
            | Err(Stop::Plugin {
                error: PluginError::Failed { .. } | PluginError::Invalid(_),
                ..
            }) => self.registry.report_success(&job.plugin.path),
            Err(_) => {}
        }
    }

    fn fill(
        &self,
        measurement: &mut Measurement,
        job: &Job,
        result: SessionResult,
        played: Played,
    ) {
        measurement.set_state(State::Succeeded);
        measurement.figures = result.figures;
        measurement.curves = result.curves;
        measurement.events = result.events;
        measurement.channel_plan = result.channel_plan;
        measurement.notes = job.notes.clone();
        measurement.notes.extend(played.notes);
        measurement.notes.extend(result.notes);
        let made = measurement.provenance.get_or_insert_default();
        let (before, live) = (made.clone(), played.provenance);
        *made = Provenance {
            backend: live.backend,
            device: live.device,
            rate_hz: live.rate_hz,
            epoch: live.epoch,
            xrun_count: live.xrun_count,
            play_count: live.play_count,
            stagger_frames: live.stagger_frames,
            batch_frame_count: live.batch_frame_count,
            ..before
        };
        self.add_dbu(measurement, job);
    }

    /// Tells the levels at the link in dBu too, where the send is calibrated.
    fn add_dbu(&self, measurement: &mut Measurement, job: &Job) {
        let Some(link) = &job.link else { return };
        if measurement.recorded {
            return;
        }
        let Some(volts) = self.send_volts(link.send) else {
            return;
        };
        let offset_db = 20.0 * (volts / DBU_VOLTS).log10() - link.pad_db;
        let told: Vec<Figure> = measurement
            .figures
            .iter()
            .filter_map(|figure| {
                Some(Figure {
                    id: id_in_dbu(&figure.id)?,
                    value: figure.value.map(|value| value + offset_db),
                    unit: "dBu".into(),
                    ..figure.clone()
                })
            })
            .collect();
        measurement.figures.extend(told);
    }

    /// What full scale is in volts at a send; `None` where nobody said.
    fn send_volts(&self, send: usize) -> Option<f64> {
        let calibrations = self.store.calibrations().unwrap_or_else(|error| {
            tracing::error!(%error, "the calibrations cannot be read");
            Vec::new()
        });
        let of_send = |one: &&Calibration| {
            one.side() == Side::Send && usize::try_from(one.channel) == Ok(send)
        };
        calibrations
            .iter()
            .find(of_send)
            .map(|calibration| calibration.volts)
    }

    fn judge(&self, measurement: &mut Measurement, job: &Job) {
        let mut seen = self.seen(measurement.clone());
        if job.link.is_some() && !measurement.is_match {
            let limits = &self.config.limits;
            seen.measurement.verdict = judge::judge(limits, measurement, seen.baseline.as_ref());
        }
        measurement.findings = judge::findings(&seen);
        measurement.verdict = seen.measurement.verdict;
    }

    /// Stores a final measurement, and tells only what is stored.
    fn store_and_tell(&self, measurement: Measurement, sounds: Vec<plugin::v1::Sound>) {
        let told = match self.store.finish_with_sounds(&measurement, sounds) {
            Ok(()) => measurement,
            Err(error) => unstored(measurement, &error),
        };
        self.queue.forget(bare(&told.name));
        self.watches.end(bare(&told.name));
        self.watchers.tell(told);
    }
}

fn told_sound(sound: &plugin::v1::Sound) -> Sound {
    Sound {
        id: sound.id.clone(),
        rate_hz: sound.rate_hz,
        frame_count: i32::try_from(sound.samples.len()).unwrap_or(i32::MAX),
    }
}

pub(super) fn fail(measurement: &mut Measurement, ending: &Ending) {
    let (state, reason) = ending.state_and_reason();
    measurement.set_state(state);
    measurement.reason = Some(reason);
}

/// What is told where the store refused the result: nothing of it, for it would not be kept.
fn unstored(measurement: Measurement, error: &StoreError) -> Measurement {
    tracing::error!(%error, measurement = %measurement.name, "a result was not stored");
    let mut told = Measurement {
        figures: Vec::new(),
        curves: Vec::new(),
        events: Vec::new(),
        notes: Vec::new(),
        verdict: None,
        findings: Vec::new(),
        sounds: Vec::new(),
        channel_plan: None,
        ..measurement
    };
    fail(
        &mut told,
        &Ending::failed("not-stored", format!("the result was not stored: {error}")),
    );
    told
}

/// The reason that a failing plugin gives its measurement.
#[must_use]
pub fn of_plugin(error: &PluginError) -> Ending {
    let id = match error {
        PluginError::Failed { id, text, channel } => {
            return Ending::Failed {
                id: id.clone(),
                text: text.clone(),
                channel: channel.clone(),
            };
        }
        PluginError::Invalid(_) => "parameters-refused",
        PluginError::Crashed { .. } => "plugin-crashed",
        PluginError::Hung { .. } => "plugin-hung",
        PluginError::Garbage { .. } => "plugin-garbage",
        PluginError::Unusable { .. } => "plugin-unusable",
        PluginError::Stopped { .. } => "interrupted",
    };
    Ending::failed(id, error.to_string())
}

/// A note of the daemon's own.
pub fn note(level: Level, id: &str, text: impl Into<String>) -> Note {
    Note {
        level: level as i32,
        id: id.into(),
        text: text.into(),
    }
}
