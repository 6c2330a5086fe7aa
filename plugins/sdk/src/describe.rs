//! What plugins say of themselves, in few words.

use crate::payload::{AnalysisDescription, Description};

/// A plugin with its analyses. `version` is SemVer.
#[must_use]
pub fn plugin(
    name: &str,
    version: &str,
    analyses: impl IntoIterator<Item = AnalysisDescription>,
) -> Description {
    Description {
        plugin: name.to_owned(),
        version: version.to_owned(),
        analyses: analyses.into_iter().collect(),
    }
}

/// An analysis that has no parameters and plays nothing.
#[must_use]
pub fn listener(id: &str, title: &str, summary: &str) -> AnalysisDescription {
    AnalysisDescription {
        id: id.to_owned(),
        title: title.to_owned(),
        summary: summary.to_owned(),
        ..AnalysisDescription::default()
    }
}
