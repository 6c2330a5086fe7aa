//! From a request to jobs: everything that can be wrong is found and told at once.

mod links;
mod trial;
mod watches;

use std::sync::Arc;

use goodwire_proto::{
    plugin::v1::{OpenRequest, Radio, RadioSurveyed, Silence, open_request::Mode},
    v1::{MeasureRequest, Measurement, Note, Parameter, Provenance, measurement::State},
};
use prost_types::{Struct, value::Kind};

use super::{
    complete::Desk,
    job::{Fate, Job},
    matched, setup,
};
use crate::{
    config::LinkConfig,
    plugins::PluginEntry,
    refusal::{Refusal, Violation},
    safety,
    store::{self, StoreError},
};
pub use trial::{accepted, of_parameter};

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
    /// It needs no audio at all.
    pub without_audio: bool,
}

impl Found {
    /// True where nothing is played with these parameters, although it plays as a rule, or where
    /// no audio is needed at all.
    pub fn is_silent_with(&self, parameters: &Struct) -> bool {
        let mut silences = self.silent_with.iter();
        let is_silent = silences.any(|silence| {
            let value = parameters.fields.get(&silence.parameter);
            let kind = value.and_then(|value| value.kind.as_ref());
            matches!(kind, Some(Kind::StringValue(text)) if *text == silence.value)
        });
        self.without_audio || is_silent
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
        let surveys = found
            .as_ref()
            .map(|found| self.check_radio(request, found, &mut links, &mut wrong));
        let surveys = surveys.transpose()?.flatten();
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
        let jobs = links.iter().zip(checked);
        let jobs = jobs.map(|(link, (parameters, notes))| {
            let surveys = surveys.as_ref();
            let radio = surveys.map(|surveys| self.radio_of(link, &links, surveys));
            match radio.transpose()? {
                Some(radio) => Ok(self.job_without_audio(&found, link, parameters, radio)),
                None => self.live_job(&found, link.clone(), parameters, notes, request),
            }
        });
        let mut jobs: Vec<Job> = jobs.collect::<Result<_, Refusal>>()?;
        jobs.iter_mut().try_for_each(trial::accepted_live)?;
        self.check_watches(request, &jobs)?;
        Ok(jobs)
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
            without_audio: found.analysis.without_audio,
        })
    }

    /// The surveys of an analysis that needs no audio; `None` for all others, which take none.
    fn check_radio(
        &self,
        request: &MeasureRequest,
        found: &Found,
        links: &mut Vec<LinkConfig>,
        wrong: &mut Vec<Violation>,
    ) -> Result<Option<Vec<RadioSurveyed>>, Refusal> {
        if found.without_audio {
            return self.surveyed(request, links, wrong).map(Some);
        }
        if request.survey.is_some() {
            let text = format!(
                "'{}' hears the link, not the air: leave it out",
                found.analysis
            );
            wrong.push(Violation::new("survey", text));
        }
        Ok(None)
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

    /// A job that needs neither the rig nor the room.
    fn job_without_audio(
        &self,
        found: &Found,
        link: &LinkConfig,
        parameters: Struct,
        radio: Radio,
    ) -> Job {
        let mut measurement = self.new_measurement(found, &parameters, Some(link));
        measurement.simulated = self.config.interface.backend.is_simulated();
        let open = OpenRequest {
            analysis: found.analysis.clone(),
            parameters: Some(parameters),
            mode: Mode::Live as i32,
            simulated: measurement.simulated,
            radio: Some(radio),
            ..OpenRequest::default()
        };
        Job {
            measurement,
            link: Some(link.clone()),
            plugin: Arc::clone(&found.plugin),
            open,
            notes: Vec::new(),
            is_attended: false,
            is_watch: false,
            resumes: false,
            kept_at: None,
            fate: Arc::new(Fate::new(true)),
        }
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
