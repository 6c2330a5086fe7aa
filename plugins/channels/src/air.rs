//! What is in the air, by what the configuration and the surveys say.

use goodwire_plugin_sdk::api::radio_survey::Form as ApiForm;
use goodwire_plugin_sdk::api::{Note, RadioSurvey};
use goodwire_plugin_sdk::figures::{info, warning};
use goodwire_plugin_sdk::parameters::violation;
use goodwire_plugin_sdk::payload::{Radio, RadioSurveyed};
use goodwire_plugin_sdk::{Failure, OpenError};
use goodwire_radio::band::{Band, Occupancy};
use goodwire_radio::survey::{Form, Heard, OLD_AFTER_S, Survey, read, typed};

use crate::notes::joined;
use crate::words::level;

/// Somebody else's transmission, and who says so.
#[derive(Debug, Clone, PartialEq)]
pub struct Transmission {
    /// What it is and how loud.
    pub heard: Heard,
    /// `configuration`, or where the survey comes from.
    pub origin: String,
}

/// All that is in the air and no link.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Air {
    /// What counts, by its lower edge.
    pub transmissions: Vec<Transmission>,
    /// True where somebody said what is there, were it nothing.
    pub is_known: bool,
    /// What has to be known of the surveys.
    pub notes: Vec<Note>,
}

impl Air {
    /// Reads what is said; what is below the threshold is left out.
    pub fn of(radio: &Radio, threshold_dbm: f64) -> Result<Self, OpenError> {
        let mut air = Self {
            is_known: !(radio.occupied.is_empty() && radio.surveys.is_empty()),
            ..Self::default()
        };
        for line in &radio.occupied {
            let survey = typed::parse(line).map_err(|error| {
                let text = format!("what the configuration says is in the air: {error}");
                Failure::new("occupied-refused", text)
            })?;
            air.add(survey, "configuration", threshold_dbm);
        }
        for surveyed in &radio.surveys {
            let said = surveyed.survey.clone().unwrap_or_default();
            let survey = read(&said.text, form(&said), threshold_dbm);
            let survey = survey.map_err(|error| {
                OpenError::Invalid(vec![violation(
                    "survey",
                    format!("{}: {error}", origin(&said)),
                )])
            })?;
            air.notes.extend(of_age(&survey, surveyed));
            air.notes.extend(of_lines(&survey, &origin(&said)));
            air.add(survey, &origin(&said), threshold_dbm);
        }
        if radio.surveys.is_empty() {
            air.notes.push(unsurveyed(air.is_known));
        }
        let low_mhz = |one: &Transmission| one.heard.occupant.band.low_mhz();
        air.transmissions
            .sort_by(|a, b| low_mhz(a).total_cmp(&low_mhz(b)));
        Ok(air)
    }

    fn add(&mut self, survey: Survey, origin: &str, threshold_dbm: f64) {
        let is_loud = |heard: &Heard| heard.level_dbm.is_none_or(|dbm| dbm >= threshold_dbm);
        let (loud, faint): (Vec<_>, Vec<_>) = survey.heard.into_iter().partition(is_loud);
        if !faint.is_empty() {
            let (count, level) = (faint.len(), level(threshold_dbm));
            let text = format!("{origin}: {count} heard below {level} dBm do not count");
            self.notes.push(info("below-threshold", text));
        }
        self.transmissions
            .extend(loud.into_iter().map(|heard| Transmission {
                heard,
                origin: origin.to_owned(),
            }));
    }

    /// The bands of all that counts.
    pub fn bands(&self) -> impl Iterator<Item = Band> {
        self.transmissions.iter().map(|one| one.heard.occupant.band)
    }

    /// What is occupied by these and by `others`.
    pub fn with(&self, others: impl IntoIterator<Item = Band>) -> Occupancy {
        Occupancy::union(self.bands().chain(others))
    }
}

fn form(survey: &RadioSurvey) -> Option<Form> {
    match survey.form() {
        ApiForm::Unspecified => None,
        ApiForm::Typed => Some(Form::Typed),
        ApiForm::Spectrum => Some(Form::Spectrum),
        ApiForm::Scan => Some(Form::Scan),
    }
}

fn origin(survey: &RadioSurvey) -> String {
    match survey.origin.trim() {
        "" => "the survey".to_owned(),
        origin => origin.to_owned(),
    }
}

/// What is to be said of the age of a survey.
fn of_age(survey: &Survey, surveyed: &RadioSurveyed) -> Option<Note> {
    let origin = origin(surveyed.survey.as_ref()?);
    let Some(ended_s) = surveyed.age_s else {
        let text = format!("{origin}: nobody knows how old this is; the air may be another by now");
        return Some(warning("survey-age-unknown", text));
    };
    survey.is_old(ended_s).then(|| {
        let (age_h, old_h) = (survey.age_s(ended_s) / 3_600.0, OLD_AFTER_S / 3_600.0);
        let text = format!(
            "{origin}: its oldest entry is {age_h:.1} h old, and after {old_h} h the air may be \
             another: survey again before relying on it"
        );
        warning("survey-old", text)
    })
}

/// What was passed over or taken for granted.
fn of_lines(survey: &Survey, origin: &str) -> Option<Note> {
    let lines = survey.notes.iter();
    let told: Vec<String> = lines
        .map(|note| format!("line {}: {}", note.line, note.text))
        .collect();
    (!told.is_empty()).then(|| warning("survey-lines", format!("{origin}: {}", joined(&told))))
}

fn unsurveyed(is_known: bool) -> Note {
    if is_known {
        let text = "there is no survey: what is in the air is what the configuration says";
        return info("no-survey", text);
    }
    let text = "nobody said what is in the air: channels are clear of each other alone; survey \
                the room, or say in [radio] what is there";
    warning("nothing-occupied", text)
}
