//! What goes wrong with plugins.

use std::time::Duration;

use goodwire_proto::{pipe::CallKind, plugin::v1::FieldViolation, v1::Reason};

/// Why a plugin gave no result.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PluginError {
    /// Parameters do not go with each other or with the rate: all of them at once.
    #[error("{}", sentence(.0))]
    Invalid(Vec<FieldViolation>),
    /// The plugin says why it has no result: its own ordinary failure.
    #[error("{text}")]
    Failed {
        /// Stable id in kebab-case, for example `no-signal`.
        id: String,
        /// The reason in a sentence.
        text: String,
        /// Whose sound it speaks of: `link` or `reference`; empty where it is neither.
        channel: String,
    },
    /// The plugin's process ended, or the plugin panicked.
    #[error("plugin {plugin} crashed in {call}: {how}{}", quoted(.log))]
    Crashed {
        /// The plugin, as `plugin version` or by its path.
        plugin: String,
        /// The call in which it happened.
        call: CallKind,
        /// What became of the process, for example `killed by SIGSEGV`.
        how: String,
        /// The last lines of its log; empty where it printed nothing.
        log: String,
    },
    /// The plugin did not answer in time; its process was killed.
    #[error("plugin {plugin} hung in {call}: no answer within {limit:?}{}", quoted(.log))]
    Hung {
        /// The plugin, as `plugin version` or by its path.
        plugin: String,
        /// The call that was not answered.
        call: CallKind,
        /// How long it might have taken.
        limit: Duration,
        /// The last lines of its log; empty where it printed nothing.
        log: String,
    },
    /// The plugin answered, but not with what may be believed.
    #[error("plugin {plugin} gave nonsense: {what}")]
    Garbage {
        /// The plugin, as `plugin version` or by its path.
        plugin: String,
        /// What was wrong with the answer.
        what: String,
    },
    /// The plugin or its host could not be started.
    #[error("plugin {plugin} cannot be used: {text}")]
    Unusable {
        /// The plugin, as `plugin version` or by its path.
        plugin: String,
        /// Why.
        text: String,
    },
    /// Somebody stopped the session.
    #[error("plugin {plugin} was stopped")]
    Stopped {
        /// The plugin, as `plugin version` or by its path.
        plugin: String,
    },
}

impl PluginError {
    /// True where the plugin itself is to blame: three in a row set it aside.
    #[must_use]
    pub fn is_fault(&self) -> bool {
        match self {
            Self::Crashed { .. }
            | Self::Hung { .. }
            | Self::Garbage { .. }
            | Self::Unusable { .. } => true,
            Self::Invalid(_) | Self::Failed { .. } | Self::Stopped { .. } => false,
        }
    }

    /// The reason with which a measurement fails: a stable id and the sentence.
    #[must_use]
    pub fn reason(&self) -> Reason {
        let id = match self {
            Self::Invalid(_) => "invalid-parameters",
            Self::Failed { id, .. } => id,
            Self::Crashed { .. } => "plugin-crashed",
            Self::Hung { .. } => "plugin-hung",
            Self::Garbage { .. } => "plugin-garbage",
            Self::Unusable { .. } => "plugin-unusable",
            Self::Stopped { .. } => "plugin-stopped",
        };
        let channel = match self {
            Self::Failed { channel, .. } => channel.as_str(),
            _ => "",
        };
        Reason {
            id: id.to_owned(),
            text: self.to_string(),
            channel: channel.to_owned(),
        }
    }
}

fn sentence(violations: &[FieldViolation]) -> String {
    let one = |violation: &FieldViolation| format!("{}: {}", violation.field, violation.text);
    violations.iter().map(one).collect::<Vec<_>>().join("; ")
}

fn quoted(log: &str) -> String {
    match log {
        "" => String::new(),
        log => format!("; its log ends: {log}"),
    }
}
