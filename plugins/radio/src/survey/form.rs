//! Which of the three forms a survey has, and reading it in that.

use super::spectrum::Spectrum;
use super::{Heard, Note, Survey, SurveyError, scan, typed};
use crate::band::Band;
use crate::occupied::Occupant;

/// Level in dBµV of 0 dBm at 50 ohm: 1 mW there is `sqrt(0.001 * 50)` V, 20 lg of 223607 µV.
const DBUV_OF_0_DBM: f64 = 106.9897;

/// How a survey is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// By hand, see [`typed`].
    Typed,
    /// Levels over frequency, see [`Spectrum`].
    Spectrum,
    /// What `iw dev … scan` prints, see [`scan`].
    Scan,
}

impl Form {
    /// The form that a text seems to have: a scan has lines that begin with `BSS `, the first line
    /// of a spectrum names two columns, and everything else was typed.
    #[must_use]
    pub fn of(text: &str) -> Self {
        if text.lines().any(|line| line.starts_with("BSS ")) {
            return Self::Scan;
        }
        let lines = text.trim_start_matches('\u{feff}').lines().map(str::trim);
        let first = lines
            .filter(|line| !line.is_empty() && !line.starts_with('#'))
            .find_map(|line| line.split('#').next());
        match first {
            Some(line) if line.contains([';', '\t', ',']) => Self::Spectrum,
            _ => Self::Typed,
        }
    }
}

/// Reads a survey in `form`, or in that which it seems to have.
///
/// Of a spectrum the bands are taken in which the level is `least_dbm` or more; levels in dBµV are
/// taken as those at 50 ohm. Whatever else is said about levels is the caller's to choose by:
/// [`Survey::occupancy`].
///
/// # Errors
///
/// Those of the form.
pub fn read(text: &str, form: Option<Form>, least_dbm: f64) -> Result<Survey, SurveyError> {
    match form.unwrap_or_else(|| Form::of(text)) {
        Form::Typed => typed::parse(text),
        Form::Scan => scan::parse(text),
        Form::Spectrum => Ok(of_spectrum(&Spectrum::parse(text)?, least_dbm)),
    }
}

fn of_spectrum(spectrum: &Spectrum, least_dbm: f64) -> Survey {
    let unit = spectrum.level_unit();
    let (least_db, remark) = match unit {
        "dbm" => (least_dbm, None),
        "dbuv" | "dbµv" => {
            let least_dbuv = least_dbm + DBUV_OF_0_DBM;
            let text =
                format!("levels are in dBµV: {least_dbuv:.1} of it are {least_dbm} dBm at 50 ohm");
            (least_dbuv, Some(text))
        }
        _ => {
            let text = format!(
                "levels are in {unit}, of which dBm cannot be told: {least_dbm} {unit} is taken as \
                 the threshold"
            );
            (least_dbm, Some(text))
        }
    };
    let bands = spectrum.bands_above(least_db);
    let mut remarks: Vec<String> = remark.into_iter().collect();
    if let [band] = bands[..]
        && spectrum.is_all_in(&band)
    {
        remarks.push(format!(
            "all of the spectrum is above the threshold of {least_dbm} dBm: is it below the \
             analyser's own noise? then raise it"
        ));
    }
    let heard = |band: Band| Heard {
        occupant: Occupant {
            name: format!("{:.3} to {:.3} MHz", band.low_mhz(), band.high_mhz()),
            band,
        },
        level_dbm: None,
        last_heard_s: None,
    };
    let note = |text| Note { line: 1, text };
    Survey {
        heard: bands.into_iter().map(heard).collect(),
        notes: remarks.into_iter().map(note).collect(),
    }
}
