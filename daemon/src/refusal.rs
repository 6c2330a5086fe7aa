//! Why a request is refused, before anything is done.

use crate::store::StoreError;

/// One wrong field of a request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Violation {
    /// Path of the field, for example `links` or `parameters.level_dbfs`.
    pub field: String,
    /// What is wrong and what would be right.
    pub text: String,
}

impl Violation {
    /// Makes a violation of a field.
    pub fn new(field: impl Into<String>, text: impl Into<String>) -> Self {
        Self {
            field: field.into(),
            text: text.into(),
        }
    }
}

/// Why a request is refused.
#[derive(Debug, thiserror::Error)]
pub enum Refusal {
    /// Fields are wrong: all of them.
    #[error("{}", texts(.0))]
    Invalid(Vec<Violation>),
    /// Something that is named does not exist.
    #[error("{0}")]
    NotFound(String),
    /// The state of things forbids it.
    #[error("{text}")]
    Forbidden {
        /// Stable reason, UPPER_SNAKE as in google.rpc.ErrorInfo: `HOLD`, `PRESENCE_REQUIRED`.
        reason: &'static str,
        /// What would have to be different.
        text: String,
    },
    /// The daemon is ending.
    #[error("the daemon is ending and takes no new measurements")]
    Ending,
    /// The store cannot do it.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl Refusal {
    /// A refusal for one wrong field.
    pub fn field(field: impl Into<String>, text: impl Into<String>) -> Self {
        Self::Invalid(vec![Violation::new(field, text)])
    }
}

fn texts(violations: &[Violation]) -> String {
    let texts: Vec<String> = violations
        .iter()
        .map(|one| format!("{}: {}", one.field, one.text))
        .collect();
    texts.join("; ")
}
