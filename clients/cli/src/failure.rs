//! What is told when something cannot be done: what is wrong, why, and what would be right.

use std::fmt;

use tonic::{Code, Status};
use tonic_types::{FieldViolation, StatusExt};

use crate::{exit::Exit, output};

/// The server's refusal, with its details.
#[derive(Debug)]
pub struct Refusal(pub Status);

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&sentence(&self.0))
    }
}

impl std::error::Error for Refusal {}

impl From<Status> for Refusal {
    fn from(status: Status) -> Self {
        Self(status)
    }
}

/// Prints an error with its causes and says how to exit.
pub fn tell(error: &anyhow::Error) -> Exit {
    output::say(&format!("goodwire: {error:#}"));
    Exit::Unmeasured
}

/// The stable reason in upper case that the server gave, if any.
pub fn reason(status: &Status) -> Option<String> {
    status.get_details_error_info().map(|info| info.reason)
}

/// The refusal in plain text: the message, each wrong field on a line of its own, the reason.
fn sentence(status: &Status) -> String {
    let wrong = status
        .get_details_bad_request()
        .map_or_else(Vec::new, |bad| bad.field_violations);
    // Where the message repeats every field's sentence, the fields alone are easier to read.
    let repeated = |field: &FieldViolation| status.message().contains(&field.description);
    let mut text = match wrong.as_slice() {
        [only] if repeated(only) => format!("{}: {}", only.field, only.description),
        several if !several.is_empty() => {
            let mut lines = if several.iter().all(repeated) {
                format!("{} values are wrong", several.len())
            } else {
                status.message().to_owned()
            };
            for field in several {
                lines.push_str(&format!("\n  {}: {}", field.field, field.description));
            }
            lines
        }
        _ => message(status),
    };
    if let Some(reason) = reason(status) {
        text.push_str(&format!("\n  reason: {reason}"));
    }
    text
}

/// The server's own words, or what the code means where it had none.
fn message(status: &Status) -> String {
    match status.code() {
        Code::Unavailable => format!("the connection to goodwired is gone: {}", status.message()),
        Code::DeadlineExceeded | Code::Cancelled if reason(status).is_none() => {
            "goodwired did not answer in time; `goodwire status` tells how it is".to_owned()
        }
        Code::Unimplemented => "this goodwired does not know that call: it is older".to_owned(),
        _ if status.message().is_empty() => format!("refused: {}", status.code()),
        _ => status.message().to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tonic_types::ErrorDetails;

    #[test]
    fn every_wrong_field_has_a_line_and_the_reason_stands_last() {
        let mut details = ErrorDetails::with_error_info("PARAMETERS_WRONG", "goodwire", []);
        details.add_bad_request_violation("parameters.colour", "there is no parameter `colour`");
        details.add_bad_request_violation("parameters.start_hz", "5 is below 10 Hz");
        let status =
            Status::with_error_details(Code::InvalidArgument, "2 fields are wrong", details);
        assert_eq!(
            Refusal(status).to_string(),
            "2 fields are wrong\n  parameters.colour: there is no parameter `colour`\n  \
             parameters.start_hz: 5 is below 10 Hz\n  reason: PARAMETERS_WRONG"
        );
    }

    #[test]
    fn fields_that_the_message_repeats_are_told_once() {
        let refusal = |fields: &[(&str, &str)]| {
            let mut details = ErrorDetails::new();
            for (field, text) in fields {
                details.add_bad_request_violation(*field, *text);
            }
            let texts: Vec<_> = fields.iter().map(|(f, t)| format!("{f}: {t}")).collect();
            let code = Code::InvalidArgument;
            Refusal(Status::with_error_details(code, texts.join("; "), details)).to_string()
        };
        assert_eq!(refusal(&[("links", "no `a`")]), "links: no `a`");
        assert_eq!(
            refusal(&[("links", "no `a`"), ("links", "no `b`")]),
            "2 values are wrong\n  links: no `a`\n  links: no `b`"
        );
    }

    #[test]
    fn an_empty_message_still_says_something() {
        assert!(
            Refusal(Status::internal(""))
                .to_string()
                .contains("nternal")
        );
    }
}
