//! After a start: goes on with the watches that the last daemon left running where their request
//! said so and nothing forbids it, and closes the others with what they saw; the same where the
//! plugin of a watch crashed.

use std::{sync::Arc, time::Duration};

use goodwire_proto::{
    plugin::v1::{OpenRequest, SessionResult},
    v1::{Measurement, Note, Provenance, note::Level},
};

use super::{
    complete::{Desk, Played, fail, note},
    job::{Ending, Fate, Job, KeptAt, bare},
    worker::Stop,
};
use crate::{
    audio::performance::Place,
    clock,
    config::{Backend, SimulatedTime},
    plugins::{Limits, PluginError, Session},
    store::{KeptWatch, StoreError},
};

impl Desk {
    /// Takes up every kept watch. Blocks while those that are over are closed.
    ///
    /// # Errors
    /// Where the store cannot be read or written.
    pub fn take_up_watches(&self) -> Result<(), StoreError> {
        let mut jobs = Vec::new();
        for watch in self.store.kept_watches()? {
            let measurement = self.store.get(&watch.measurement)?;
            let resumes = watch.resumes;
            let Some(mut job) = self.job_of(watch, measurement.clone()) else {
                self.give_up(measurement)?;
                continue;
            };
            match self.may_go_on(&job, resumes) {
                Ok(()) => {
                    tell_away(&mut job);
                    self.watchers.begin(&job.measurement);
                    jobs.push(job);
                }
                Err(why) => self.close(&job, &why),
            }
        }
        for job in &jobs {
            tracing::info!(measurement = job.id(), "goes on after the restart");
        }
        self.queue.push(jobs);
        Ok(())
    }

    /// Ends a watch that does not go on, with what it saw before the restart.
    pub(super) fn close(&self, job: &Job, why: &str) {
        let text = format!("{why}; the result is of what was seen before the restart");
        let told = note(Level::Warning, "closed-after-restart", text);
        let outcome = seen(job, &job.open).map(|result| (result, self.played_before(job, told)));
        self.settle(job, outcome);
    }

    /// What a watch saw until its plugin crashed or hung, as far as it was kept; `None` where
    /// nothing was, or where it failed otherwise.
    pub(super) fn saved(&self, job: &Job, error: &PluginError) -> Option<(SessionResult, Played)> {
        if !job.is_watch || !error.is_fault() {
            return None;
        }
        let kept = self.store.kept_watches().ok()?;
        let name = &job.measurement.name;
        let kept = kept.into_iter().find(|one| one.measurement == *name)?;
        let result = seen(job, &kept.open).ok()?;
        let seen_s = kept.frame as f64 / f64::from(kept.open.rate_hz);
        let text = format!("{error}; the result is of what was seen in the first {seen_s:.0} s");
        let told = note(Level::Warning, "closed-after-fault", text);
        Some((result, self.played_before(job, told)))
    }

    fn played_before(&self, job: &Job, told: Note) -> Played {
        Played {
            provenance: Provenance {
                backend: self.config.interface.backend.name().into(),
                rate_hz: job.open.rate_hz,
                ..Provenance::default()
            },
            notes: vec![told],
        }
    }

    /// The job of a kept watch; `None` where its analysis is not installed any more.
    fn job_of(&self, watch: KeptWatch, measurement: Measurement) -> Option<Job> {
        let found = self.find(&measurement.analysis).ok()?;
        let parameters = watch.open.parameters.clone().unwrap_or_default();
        let name = bare(&measurement.link);
        let link = self.config.links.iter().find(|link| link.name == name);
        Some(Job {
            link: link.cloned(),
            plugin: Arc::clone(&found.plugin),
            notes: measurement.notes.clone(),
            // Who was there before the restart may have left.
            is_attended: false,
            is_watch: true,
            resumes: watch.resumes,
            kept_at: Some(self.kept_at(&watch)),
            fate: Arc::new(Fate::new(found.is_silent_with(&parameters))),
            open: watch.open,
            measurement,
        })
    }

    /// Where a watch would be now, had it gone on.
    fn kept_at(&self, watch: &KeptWatch) -> KeptAt {
        let now = clock::since_boot();
        let wall = self.clock.timestamp();
        let away = if is_virtual(&self.config.interface.backend) {
            Duration::ZERO
        } else if watch.boot == clock::boot_id() && !watch.boot.is_empty() {
            now.saturating_sub(watch.since_boot)
        } else {
            let seconds = wall.seconds.saturating_sub(watch.time.seconds);
            // A clock that was set back says nothing of how long it was.
            Duration::from_secs(u64::try_from(seconds).unwrap_or(0))
        };
        let away_frames = away.as_secs_f64() * f64::from(watch.open.rate_hz);
        KeptAt {
            frame: watch.frame,
            place: Place {
                frame: watch.frame + away_frames.round() as u64,
                stream_frame: 0,
                epoch: 0,
                at: now,
            },
        }
    }

    /// Whether a watch goes on by itself; else why it does not.
    fn may_go_on(&self, job: &Job, resumes: bool) -> Result<(), String> {
        if !resumes {
            return Err("the daemon was ended and started again".into());
        }
        let rate_hz = i32::try_from(self.config.interface.rate_hz);
        let is_same = job.link.is_some()
            && rate_hz == Ok(job.open.rate_hz)
            && self.config.reference.is_some() == job.open.has_reference;
        if !is_same {
            return Err("the configuration of the link, the rate or the reference changed".into());
        }
        if job.is_silent() {
            return Ok(());
        }
        self.permit(false).map_err(|refusal| refusal.to_string())
    }

    /// Ends a watch of which nothing can be said any more.
    fn give_up(&self, mut measurement: Measurement) -> Result<(), StoreError> {
        let text = "the daemon ended while it ran, and its analysis is not installed any more";
        fail(&mut measurement, &Ending::failed("interrupted", text));
        self.store.finish(&measurement)
    }
}

fn is_virtual(backend: &Backend) -> bool {
    matches!(backend, Backend::Simulated(simulated) if simulated.time == SimulatedTime::Virtual)
}

/// Says with the measurement that nobody watched for a while.
fn tell_away(job: &mut Job) {
    let Some(kept) = job.kept_at else { return };
    let away_s = (kept.place.frame - kept.frame) as f64 / f64::from(job.open.rate_hz);
    let text = format!(
        "the daemon was ended and started again, and nothing was watched for {away_s:.0} s; after \
         that the watch went on"
    );
    let told = note(Level::Info, "resumed-after-restart", text);
    job.notes.push(told.clone());
    job.measurement.notes.push(told);
}

/// What a session says of what the one before it saw.
fn seen(job: &Job, open: &OpenRequest) -> Result<SessionResult, Stop> {
    let mut session = Session::open(&job.plugin, open, &Limits::default())?;
    session.plan()?;
    let result = session.finish(true)?;
    session.close();
    Ok(result)
}
