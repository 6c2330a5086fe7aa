//! From a request to jobs: everything that can be wrong is found and told at once.

use std::sync::Arc;

use goodwire_proto::{
    plugin::v1::{FieldViolation, OpenRequest, Silence, open_request::Mode},
    v1::{MeasureRequest, Measurement, Note, Parameter, Provenance, measurement::State},
};
use prost_types::{Struct, value::Kind};

use super::{
    complete::Desk,
    job::{Fate, Job, bare},
    matched, setup,
};
use crate::{
    config::LinkConfig,
    names,
    plugins::{Limits, PluginEntry, PluginError, Session, is_open_ended},
    refusal::{Refusal, Violation},
    safety,
    store::{self, StoreError},
};

/// What one watch may write, in MiB: its state of at most 4, its result, and the journal of both.
const WATCH_MIB: u64 = 16;

/// An analysis with its plugin.
pub struct Found {
    /// The plugin.
    pub plugin: Arc<PluginEntry>,
    /// Id of the analysis.
    pub analysis: String,
    /// Its parameters.
    pub schema: Vec<Parameter>,
    /// Values of parameters with which it plays nothing.
    pub silent_with: Vec<Silence>,
}

impl Found {
    /// True where nothing is played with these parameters, although it plays as a rule.
    pub fn is_silent_with(&self, parameters: &Struct) -> bool {
        let mut silences = self.silent_with.iter();
        silences.any(|silence| {
            let value = parameters.fields.get(&silence.parameter);
            let kind = value.and_then(|value| value.kind.as_ref());
            matches!(kind, Some(Kind::StringValue(text)) if *text == silence.value)
        })
    }
}

impl Desk {
    /// Makes the jobs of a request for live measurements, one a link.
    ///
    /// # Errors
    /// Every wrong field at once; a hold, or nobody present where somebody must be.
    pub fn live_jobs(&self, request: &MeasureRequest) -> Result<Vec<Job>, Refusal> {
        let mut wrong = Vec::new();
        let mut links = self.links_of(&request.links, &mut wrong);
        setup::put_over(&mut links, &request.setup, &mut wrong);
        let found = self
            .find(&request.analysis)
            .map_err(|one| wrong.push(one))
            .ok();
        let given = request.parameters.clone().unwrap_or_default();
        let checked = found.as_ref().map(|found| {
            self.check_match(request, found, &mut wrong);
            self.checked(found, &given, &links, &mut wrong)
        });
        if !wrong.is_empty() {
            wrong.dedup();
            return Err(Refusal::Invalid(wrong));
        }
        let found = found.expect("an unknown analysis is among what is wrong");
        let checked = checked.expect("found above");
        let is_silent = |parameters| found.is_silent_with(parameters);
        if !checked.iter().all(|(parameters, _)| is_silent(parameters)) {
            self.permit(request.present)?;
        }
        let jobs = links
            .into_iter()
            .zip(checked)
            .map(|(link, (parameters, notes))| {
                self.live_job(&found, link, parameters, notes, request)
            });
        let mut jobs: Vec<Job> = jobs.collect::<Result<_, _>>()?;
        jobs.iter_mut().try_for_each(accepted_live)?;
        self.check_watches(request, &jobs)?;
        Ok(jobs)
    }

    /// Whether what watches may write has room, and they may go on after a restart.
    fn check_watches(&self, request: &MeasureRequest, jobs: &[Job]) -> Result<(), Refusal> {
        if request.resume {
            self.check_resume(jobs)?;
        }
        let watch_count = jobs.iter().filter(|job| job.is_watch).count() as u64;
        let needed_mib = watch_count * WATCH_MIB;
        let free_mib = self.store.free_bytes()? >> 20;
        if watch_count > 0 && free_mib < needed_mib {
            return Err(Refusal::Forbidden {
                reason: "STORAGE_SHORT",
                text: format!(
                    "the disk with the state folder has {free_mib} MiB free, and this watch may \
                     write {needed_mib} MiB: make room there before it begins"
                ),
            });
        }
        Ok(())
    }

    fn check_resume(&self, jobs: &[Job]) -> Result<(), Refusal> {
        if !jobs.iter().all(|job| job.is_watch) {
            let text = "only a watch goes on after a restart, and this is none: leave it false";
            return Err(Refusal::field("resume", text));
        }
        if !self.config.safety.unattended && !jobs.iter().all(Job::is_silent) {
            let text = "after a restart nobody can be counted on to be in the room: set \
                        safety.unattended = true where sound may be played by itself, or leave it \
                        false and what was seen is kept all the same";
            return Err(Refusal::field("resume", text));
        }
        Ok(())
    }

    /// Finds an analysis, as `response`, `analyses/response` or `plugin/analysis`.
    ///
    /// # Errors
    /// A violation of the field `analysis` with the nearest name, or why its plugin is set aside.
    pub fn find(&self, analysis: &str) -> Result<Found, Violation> {
        let name = analysis.strip_prefix("analyses/").unwrap_or(analysis);
        let (plugin, analysis) = match name.split_once('/') {
            Some((plugin, analysis)) => (Some(plugin), analysis),
            None => (None, name),
        };
        let found = self.registry.find(analysis, plugin);
        let found = found.map_err(|error| Violation::new("analysis", error.to_string()))?;
        Ok(Found {
            plugin: found.plugin,
            analysis: found.analysis.id,
            schema: found.analysis.parameters,
            silent_with: found.analysis.silent_with,
        })
    }

    fn links_of(&self, names: &[String], wrong: &mut Vec<Violation>) -> Vec<LinkConfig> {
        let known = &self.config.links;
        if names.iter().any(|name| bare(name) == "all") && names.len() == 1 {
            if known.is_empty() {
                wrong.push(Violation::new("links", "the configuration has no links"));
            }
            return known.clone();
        }
        if names.is_empty() {
            wrong.push(Violation::new(
                "links",
                "at least one link is needed, or 'all'",
            ));
        }
        let mut links: Vec<LinkConfig> = Vec::new();
        for name in names.iter().map(|name| bare(name)) {
            match known.iter().find(|link| link.name == name) {
                Some(link) if links.iter().any(|one| one.name == link.name) => {
                    wrong.push(Violation::new(
                        "links",
                        format!("the link '{name}' is named twice"),
                    ));
                }
                Some(link) => links.push(link.clone()),
                None => wrong.push(Violation::new("links", self.unknown_link(name))),
            }
        }
        links
    }

    /// The sentence about a link that does not exist.
    #[must_use]
    pub fn unknown_link(&self, name: &str) -> String {
        let known: Vec<&str> = self
            .config
            .links
            .iter()
            .map(|link| link.name.as_str())
            .collect();
        names::unknown("link", name, &known)
    }

    fn check_match(&self, request: &MeasureRequest, found: &Found, wrong: &mut Vec<Violation>) {
        if request.r#match && found.analysis != "response" {
            let text = "a match is made with the analysis 'response'";
            wrong.push(Violation::new("match", text));
        }
        if request.r#match && self.config.reference.is_none() {
            let text = "a match compares with the reference, and the rig has none: add [reference]";
            wrong.push(Violation::new("match", text));
        }
    }

    /// The match of a link that is in force. One of the simulated rig says nothing of hardware.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn match_of(&self, link: &LinkConfig) -> Result<Option<Measurement>, StoreError> {
        let simulated = self.config.interface.backend.is_simulated();
        let matched = self.store.current_match(&link.name)?;
        Ok(matched.filter(|measurement| measurement.simulated == simulated))
    }

    /// Whether sound may be asked for.
    ///
    /// # Errors
    /// A hold, nobody present where somebody must be, no permit where one is needed.
    pub fn permit(&self, present: bool) -> Result<(), Refusal> {
        if let Some(hold) = self.store.hold()? {
            return Err(Refusal::Forbidden {
                reason: "HOLD",
                text: safety::hold_text(&hold.text),
            });
        }
        if !present && !self.config.safety.unattended {
            let text = "somebody has to be in the room: say that sound may be played now \
                        (--present, or the field `present`), or set safety.unattended = true";
            return Err(Refusal::Forbidden {
                reason: "PRESENCE_REQUIRED",
                text: text.into(),
            });
        }
        if !present && !self.permitted()? {
            return Err(Refusal::Forbidden {
                reason: "PERMIT_REQUIRED",
                text: safety::permit_text(&self.config.safety),
            });
        }
        Ok(())
    }

    /// Whether sound with nobody present has the permit that it needs, if any.
    ///
    /// # Errors
    /// Where the store cannot say.
    pub fn permitted(&self) -> Result<bool, StoreError> {
        let safety = &self.config.safety;
        let is_needed = safety.permit_hours.is_some();
        Ok(!is_needed || safety::permit_now(&self.store, safety, &*self.clock)?.is_some())
    }

    fn live_job(
        &self,
        found: &Found,
        link: LinkConfig,
        parameters: Struct,
        notes: Vec<Note>,
        request: &MeasureRequest,
    ) -> Result<Job, Refusal> {
        let is_match = request.r#match;
        let matched = if is_match {
            None
        } else {
            self.match_of(&link)?
        };
        let is_silent = found.is_silent_with(&parameters);
        let mut measurement = self.new_measurement(found, &parameters, Some(&link));
        measurement.simulated = self.config.interface.backend.is_simulated();
        measurement.is_match = is_match;
        measurement.notes.clone_from(&notes);
        let used = matched.as_ref().and_then(matched::from_measurement);
        if let (Some(_), Some(one)) = (&used, &matched) {
            measurement.r#match.clone_from(&one.name);
        }
        let rate_hz = i32::try_from(self.config.interface.rate_hz).unwrap_or(i32::MAX);
        let open = OpenRequest {
            analysis: found.analysis.clone(),
            parameters: Some(parameters),
            mode: Mode::Live as i32,
            rate_hz,
            returned_rate_hz: rate_hz,
            seed: i32::try_from(link.send).unwrap_or(0),
            ceiling_dbfs: self.config.send_ceiling_dbfs(link.send),
            clip_point_dbfs: self.last_clip_point_dbfs(&link),
            has_reference: self.config.reference.is_some(),
            r#match: used,
            is_match,
            other_links: self.others(|other| other.name != link.name),
            shared_send_links: self
                .others(|other| other.name != link.name && other.send == link.send),
            ..OpenRequest::default()
        };
        let plugin = Arc::clone(&found.plugin);
        Ok(Job {
            measurement,
            link: Some(link),
            plugin,
            open,
            notes,
            is_attended: request.present,
            is_watch: false,
            resumes: request.resume,
            kept_at: None,
            fate: Arc::new(Fate::new(is_silent)),
        })
    }

    /// Names of some of the links.
    fn others(&self, of: impl Fn(&LinkConfig) -> bool) -> Vec<String> {
        let links = self.config.links.iter();
        links
            .filter(|link| of(link))
            .map(|link| link.name.clone())
            .collect()
    }

    /// A QUEUED measurement with all that is known before it is made.
    #[must_use]
    pub fn new_measurement(
        &self,
        found: &Found,
        parameters: &Struct,
        link: Option<&LinkConfig>,
    ) -> Measurement {
        Measurement {
            name: store::new_name(&*self.clock),
            link: link
                .map(|link| format!("links/{}", link.name))
                .unwrap_or_default(),
            analysis: found.analysis.clone(),
            state: State::Queued as i32,
            create_time: Some(self.clock.timestamp()),
            parameters: Some(parameters.clone()),
            setup: link
                .map(|link| link.setup.clone().into_iter().collect())
                .unwrap_or_default(),
            provenance: Some(Provenance {
                daemon_version: env!("CARGO_PKG_VERSION").into(),
                plugin: found.plugin.label(),
                plugin_hash: found.plugin.hash.clone(),
                config_hash: self.config.hash.clone(),
                ..Provenance::default()
            }),
            ..Measurement::default()
        }
    }
}

/// As [`accepted`], and learns from the plan whether the job is a watch: a watch shares its pilot
/// with all others, whatever their send.
fn accepted_live(job: &mut Job) -> Result<(), Refusal> {
    let Some(mut session) = trial(job)? else {
        return Ok(());
    };
    match session.plan() {
        Ok(plan) if is_open_ended(&plan) => {
            job.is_watch = true;
            job.open.seed = 0;
        }
        Ok(_) => {}
        Err(error) => tracing::debug!(%error, "a trial session did not plan"),
    }
    session.close();
    Ok(())
}

/// Opens and closes a session, so that what the plugin itself refuses is told with the request.
/// Whatever else goes wrong then belongs to the measurement.
///
/// # Errors
/// Every parameter that the plugin refuses.
pub fn accepted(job: &Job) -> Result<(), Refusal> {
    trial(job)?.into_iter().for_each(Session::close);
    Ok(())
}

fn trial(job: &Job) -> Result<Option<Session>, Refusal> {
    match Session::open(&job.plugin, &job.open, &Limits::default()) {
        Ok(session) => Ok(Some(session)),
        Err(PluginError::Invalid(violations)) => Err(Refusal::Invalid(
            violations.into_iter().map(of_parameter).collect(),
        )),
        Err(error) => {
            tracing::debug!(%error, "a trial session did not open");
            Ok(None)
        }
    }
}

/// The violation of a parameter as a field of the request.
#[must_use]
pub fn of_parameter(violation: FieldViolation) -> Violation {
    Violation::new(format!("parameters.{}", violation.field), violation.text)
}
