//! What is in the air, as somebody wrote it down: by hand, by a spectrum analyser, by a scan.

mod form;
pub mod scan;
pub mod spectrum;
pub mod typed;

pub use form::{Form, read};

use crate::band::Occupancy;
use crate::occupied::Occupant;

/// Age in s from which on a survey is old: what was clear at the set-up of the afternoon need not
/// be in the evening, when the audience brings its own radios (common practice, no source).
pub const OLD_AFTER_S: f64 = 4.0 * 3_600.0;

/// Everything that one survey heard.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Survey {
    /// Each transmission, in the order of the text.
    pub heard: Vec<Heard>,
    /// What was passed over or taken for granted.
    pub notes: Vec<Note>,
}

/// One transmission that was heard.
#[derive(Debug, Clone, PartialEq)]
pub struct Heard {
    /// What and where it is.
    pub occupant: Occupant,
    /// Its level in dBm, if it was said.
    pub level_dbm: Option<f64>,
    /// How long before the end of the survey it was last heard, in s, if it was said.
    pub last_heard_s: Option<f64>,
}

/// A remark about one line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    /// Line from 1.
    pub line: usize,
    /// What was passed over or taken for granted there.
    pub text: String,
}

/// Why a survey cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SurveyError {
    /// A line is not what it has to be.
    #[error("line {line}: {what}")]
    Line {
        /// Line from 1.
        line: usize,
        /// What is wrong and what would be right.
        what: String,
    },
    /// There is nothing in it.
    #[error("nothing was found in the survey: {right}")]
    Empty {
        /// What would be right.
        right: &'static str,
    },
}

impl Survey {
    /// Where something was heard at `least_dbm` or louder, or at an unknown level.
    #[must_use]
    pub fn occupancy(&self, least_dbm: f64) -> Occupancy {
        let is_loud = |heard: &&Heard| heard.level_dbm.is_none_or(|dbm| dbm >= least_dbm);
        let loud = self.heard.iter().filter(is_loud);
        Occupancy::union(loud.map(|heard| heard.occupant.band))
    }

    /// Age in s of the oldest entry, of a survey that ended `ended_s` ago.
    #[must_use]
    pub fn age_s(&self, ended_s: f64) -> f64 {
        let last_heard = self.heard.iter().filter_map(|heard| heard.last_heard_s);
        ended_s + last_heard.fold(0.0, f64::max)
    }

    /// True when an entry of a survey that ended `ended_s` ago is older than [`OLD_AFTER_S`].
    #[must_use]
    pub fn is_old(&self, ended_s: f64) -> bool {
        self.age_s(ended_s) > OLD_AFTER_S
    }
}

/// The error of one line, counted from 1.
fn wrong(line: usize, what: impl ToString) -> SurveyError {
    let what = what.to_string();
    SurveyError::Line { line, what }
}
