//! What comes of asking for an analysis.

use std::sync::Arc;

use goodwire_proto::plugin::v1::AnalysisDescription;

use super::{PluginEntry, file::FAILURE_COUNT_MAX};

/// What was asked for by the id of an analysis.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// The plugin that provides it.
    pub plugin: Arc<PluginEntry>,
    /// The analysis.
    pub analysis: AnalysisDescription,
}

/// Why an analysis cannot be had.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FindError {
    /// No plugin provides it.
    #[error("there is no analysis {analysis:?}{}", meant(.nearest.as_deref(), .known))]
    Unknown {
        /// What was asked for: `analysis` or `plugin/analysis`.
        analysis: String,
        /// What was probably meant.
        nearest: Option<String>,
        /// What there is.
        known: Vec<String>,
    },
    /// Its plugin failed three times in a row.
    #[error(
        "plugin {plugin} was set aside: it failed {FAILURE_COUNT_MAX} times in a row; \
         ask for {name} to try it again"
    )]
    SetAside {
        /// The plugin, as `plugin version`.
        plugin: String,
        /// `plugin/analysis`, which asks for just this plugin.
        name: String,
    },
}

fn meant(nearest: Option<&str>, known: &[String]) -> String {
    match nearest {
        Some(nearest) => format!("; did you mean {nearest:?}?"),
        None if known.is_empty() => "; no plugin was found".to_owned(),
        None => format!("; there are: {}", known.join(", ")),
    }
}
