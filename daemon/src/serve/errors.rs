//! The one place where refusals become statuses of gRPC, with `google.rpc` details.

use std::{collections::HashMap, time::Duration};

use tonic::{Code, Status};
use tonic_types::{ErrorDetails, FieldViolation, StatusExt};

use crate::{refusal::Refusal, store::StoreError};

/// Whose reasons these are, as `google.rpc.ErrorInfo` wants it.
const DOMAIN: &str = "goodwire";
/// When a client may ask again where the disk was full.
const FULL_RETRY: Duration = Duration::from_secs(30);

/// Turns a refusal into a status.
pub(super) fn status(refusal: &Refusal) -> Status {
    let text = refusal.to_string();
    let (code, reason, mut details) = match refusal {
        Refusal::Invalid(violations) => {
            let fields: Vec<FieldViolation> = violations
                .iter()
                .map(|one| FieldViolation::new(one.field.clone(), one.text.clone()))
                .collect();
            let details = ErrorDetails::with_bad_request(fields);
            (Code::InvalidArgument, "INVALID_FIELDS", details)
        }
        Refusal::NotFound(_) => (Code::NotFound, "NOT_FOUND", ErrorDetails::new()),
        Refusal::Forbidden { reason, .. } => {
            (Code::FailedPrecondition, *reason, ErrorDetails::new())
        }
        Refusal::Ending => (Code::Unavailable, "ENDING", ErrorDetails::new()),
        Refusal::Store(error) => of_store(error),
    };
    details.set_error_info(
        reason,
        DOMAIN,
        HashMap::from([("text".to_owned(), text.clone())]),
    );
    Status::with_error_details(code, text, details)
}

fn of_store(error: &StoreError) -> (Code, &'static str, ErrorDetails) {
    let field = |name: &str| {
        ErrorDetails::with_bad_request(vec![FieldViolation::new(name, error.to_string())])
    };
    match error {
        StoreError::Full => {
            let details = ErrorDetails::with_retry_info(Some(FULL_RETRY));
            (Code::ResourceExhausted, "STORAGE_FULL", details)
        }
        StoreError::NotFound { .. } => (Code::NotFound, "NOT_FOUND", ErrorDetails::new()),
        StoreError::State { .. } | StoreError::Ended { .. } => {
            (Code::FailedPrecondition, "WRONG_STATE", ErrorDetails::new())
        }
        StoreError::PageToken => (Code::InvalidArgument, "INVALID_FIELDS", field("page_token")),
        StoreError::PageSize { .. } => {
            (Code::InvalidArgument, "INVALID_FIELDS", field("page_size"))
        }
        _ => (Code::Internal, "STORAGE_FAILED", ErrorDetails::new()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::refusal::Violation;

    #[test]
    fn every_wrong_field_is_told_at_once_with_a_stable_reason() {
        let wrong = vec![
            Violation::new("links", "no link"),
            Violation::new("analysis", "none"),
        ];
        let status = status(&Refusal::Invalid(wrong));
        let details = status.get_error_details();
        let bad = details.bad_request().expect("field violations");
        assert_eq!(status.code(), Code::InvalidArgument);
        assert_eq!(bad.field_violations.len(), 2);
        assert_eq!(
            details.error_info().expect("a reason").reason,
            "INVALID_FIELDS"
        );
    }
}
