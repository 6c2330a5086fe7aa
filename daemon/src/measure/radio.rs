//! The radio side of a link, for analyses that need no audio: its channel table, what the links
//! are set to, what is in the air, and how far it was walked.

use std::{
    fs::{self, File},
    io::Read,
    time::UNIX_EPOCH,
};

use goodwire_proto::{
    plugin::v1::{Radio, RadioBudget, RadioLink, RadioRow, RadioSurveyed},
    v1::{MeasureRequest, RadioSurvey, radio_survey::Form},
};
use goodwire_radio::{
    survey::{self, SurveyError},
    table::Row,
};
use prost_types::Timestamp;

use super::{complete::Desk, job::bare};
use crate::{
    config::{ChannelTableConfig, LinkConfig, SurveyFile, SurveyForm},
    names,
    refusal::{Refusal, Violation},
    store::StoreError,
};

/// Most bytes of a survey.
const SURVEY_BYTES_MAX: usize = 4 << 20;
/// Two clocks may differ by so much before a survey comes from the future, in s.
const CLOCKS_DIFFER_S: f64 = 60.0;
/// The key of a setup that says what a link is set to.
const CHANNEL: &str = "channel";

/// What is written into the configuration so that a link has a table.
const WRITE_A_TABLE: &str = "\
no link of the configuration has a channel table, so that nobody knows what it can be set to: \
write the channels that its manual lists into the configuration, as
[[channel_table]]
name = \"belt\"
[[channel_table.channel]]
name = \"1\"
centre_mhz = 2424
bandwidth_mhz = 2
and channel_table = \"belt\" into its [[link]]";

impl Desk {
    /// Checks what a request says of the radio side; leaves of `all` the links that have a table.
    ///
    /// # Errors
    /// `NO_CHANNEL_TABLE` where no link has one, `SURVEY_UNREADABLE` where the configured survey
    /// cannot be read. What is wrong with fields goes to `wrong`.
    pub(super) fn surveyed(
        &self,
        request: &MeasureRequest,
        links: &mut Vec<LinkConfig>,
        wrong: &mut Vec<Violation>,
    ) -> Result<Vec<RadioSurveyed>, Refusal> {
        let mut configured = self.config.links.iter();
        if !configured.any(|link| link.channel_table.is_some()) {
            return Err(Refusal::Forbidden {
                reason: "NO_CHANNEL_TABLE",
                text: WRITE_A_TABLE.into(),
            });
        }
        if request.links.iter().any(|name| bare(name) == "all") {
            links.retain(|link| link.channel_table.is_some());
        }
        for link in &*links {
            wrong.extend(self.check_channel(link));
        }
        if let Some(survey) = &request.survey {
            return Ok(self.given(survey, wrong).into_iter().collect());
        }
        let file = self.config.radio.survey.as_ref();
        let read = file.map(|file| self.read_survey(file));
        Ok(read.transpose()?.into_iter().collect())
    }

    /// True where a link can be asked for an analysis: one without audio needs a channel table.
    /// Where no link has one, each is asked for, to be told so.
    #[must_use]
    pub fn suits(&self, analysis: &str, link: &str) -> bool {
        let has_table = |link: &LinkConfig| link.channel_table.is_some();
        let is_any = self.config.links.iter().any(has_table);
        !is_any
            || self.config.link(link).is_some_and(has_table)
            || !self.registry.is_without_audio(analysis)
    }

    /// Whether a link has a table, and is set to one of its channels if to any.
    fn check_channel(&self, link: &LinkConfig) -> Option<Violation> {
        let Some(table) = self.config.channel_table(link) else {
            let text = format!(
                "the link '{}' has no channel_table: write the channels that its manual lists into \
                 a [[channel_table]], and the table's name into its [[link]]",
                link.name
            );
            return Some(Violation::new("links", text));
        };
        let channel = link.setup.get(CHANNEL)?;
        if channel.trim().is_empty() || table.row(channel).is_some() {
            return None;
        }
        let known: Vec<&str> = table.rows.iter().map(|row| row.name.as_str()).collect();
        let what = format!("channel in the table '{}'", table.name);
        let text = names::unknown(&what, channel, &known);
        Some(Violation::new("setup.channel", text))
    }

    /// The survey of a request with its age; `None` where it cannot be read.
    fn given(&self, survey: &RadioSurvey, wrong: &mut Vec<Violation>) -> Option<RadioSurveyed> {
        let mut refuse = |field: &str, text: String| {
            wrong.push(Violation::new(format!("survey.{field}"), text));
            None
        };
        if survey.text.len() > SURVEY_BYTES_MAX {
            let (count, most) = (survey.text.len(), SURVEY_BYTES_MAX);
            return refuse("text", format!("has {count} bytes, of at most {most}"));
        }
        if let Err(error) = read(survey) {
            return refuse("text", error.to_string());
        }
        let age_s = survey.end_time.as_ref().map(|time| self.age_s(time));
        if let Some(age_s) = age_s.filter(|age_s| *age_s < -CLOCKS_DIFFER_S) {
            let text = format!("lies {:.0} s in the future: is the clock right?", -age_s);
            return refuse("end_time", text);
        }
        Some(RadioSurveyed {
            survey: Some(survey.clone()),
            age_s: age_s.map(|age_s| age_s.max(0.0)),
        })
    }

    /// Seconds since a time.
    fn age_s(&self, time: &Timestamp) -> f64 {
        let now = self.clock.timestamp();
        (now.seconds - time.seconds) as f64 + f64::from(now.nanos - time.nanos) * 1e-9
    }

    /// The survey that the configuration names, as it is now.
    fn read_survey(&self, file: &SurveyFile) -> Result<RadioSurveyed, Refusal> {
        let refused = |what: String| Refusal::Forbidden {
            reason: "SURVEY_UNREADABLE",
            text: format!(
                "the survey {} of [radio] cannot be read: {what}; survey again into this file, or \
                 take `survey` out of the configuration",
                file.path.display()
            ),
        };
        let unread = |error: std::io::Error| refused(error.to_string());
        let mut bytes = Vec::new();
        let opened = File::open(&file.path).map_err(unread)?;
        let mut part = opened.take(SURVEY_BYTES_MAX as u64 + 1);
        part.read_to_end(&mut bytes).map_err(unread)?;
        if bytes.len() > SURVEY_BYTES_MAX {
            return Err(refused(format!(
                "it has more than {SURVEY_BYTES_MAX} bytes"
            )));
        }
        let form = file.form.map_or(Form::Unspecified, |form| match form {
            SurveyForm::Typed => Form::Typed,
            SurveyForm::Spectrum => Form::Spectrum,
            SurveyForm::Scan => Form::Scan,
        });
        let survey = RadioSurvey {
            // Names of networks may be in any encoding, and nothing hangs on them.
            text: String::from_utf8_lossy(&bytes).into_owned(),
            form: form.into(),
            end_time: written(file),
            origin: file.path.display().to_string(),
        };
        read(&survey).map_err(|error| refused(error.to_string()))?;
        // Of a file that seems to be written in the future nobody knows how old it is.
        let age_s = survey.end_time.as_ref().map(|time| self.age_s(time));
        let age_s = age_s.filter(|age_s| *age_s >= -CLOCKS_DIFFER_S);
        Ok(RadioSurveyed {
            age_s: age_s.map(|age_s| age_s.max(0.0)),
            survey: Some(survey),
        })
    }

    /// The radio side of a link. `asked` are the links of the request, with the setup that it says.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub(super) fn radio_of(
        &self,
        link: &LinkConfig,
        asked: &[LinkConfig],
        surveys: &[RadioSurveyed],
    ) -> Result<Radio, StoreError> {
        let table = self.config.channel_table(link);
        let configured = self.config.links.iter();
        let links = configured.filter_map(|one| {
            let table = self.config.channel_table(one)?;
            let one = asked
                .iter()
                .find(|asked| asked.name == one.name)
                .unwrap_or(one);
            Some(RadioLink {
                link: one.name.clone(),
                same_table: one.channel_table == link.channel_table,
                channel: one
                    .setup
                    .get(CHANNEL)
                    .and_then(|now| table.row(now))
                    .map(told_row),
            })
        });
        let simulated = self.config.interface.backend.is_simulated();
        let walked_metres = self
            .store
            .last_figure(&link.name, "dropout", "range", simulated)?;
        Ok(Radio {
            table: table.map(|table| table.name.clone()).unwrap_or_default(),
            rows: table
                .map(|table| table.rows.iter().map(told_row).collect())
                .unwrap_or_default(),
            links: links.collect(),
            occupied: self.config.radio.occupied.clone(),
            surveys: surveys.to_vec(),
            budget: table.and_then(told_budget),
            walked_metres,
        })
    }
}

/// Reads a survey as the plugin will: with whatever threshold, it can be read or not.
fn read(said: &RadioSurvey) -> Result<(), SurveyError> {
    let form = match said.form() {
        Form::Unspecified => None,
        Form::Typed => Some(survey::Form::Typed),
        Form::Spectrum => Some(survey::Form::Spectrum),
        Form::Scan => Some(survey::Form::Scan),
    };
    survey::read(&said.text, form, 0.0).map(drop)
}

/// When a file was last written; `None` where the system does not say.
fn written(file: &SurveyFile) -> Option<Timestamp> {
    let time = fs::metadata(&file.path).ok()?.modified().ok()?;
    let since = time.duration_since(UNIX_EPOCH).ok()?;
    Some(Timestamp {
        seconds: i64::try_from(since.as_secs()).ok()?,
        nanos: i32::try_from(since.subsec_nanos()).ok()?,
    })
}

fn told_row(row: &Row) -> RadioRow {
    RadioRow {
        name: row.name.clone(),
        centre_mhz: row.centre_mhz,
        bandwidth_mhz: row.bandwidth_mhz,
    }
}

fn told_budget(table: &ChannelTableConfig) -> Option<RadioBudget> {
    table.budget.map(|budget| RadioBudget {
        radiated_dbm: budget.radiated_dbm,
        receive_gain_db: budget.receive_gain_db,
        needed_dbm: budget.needed_dbm,
    })
}
