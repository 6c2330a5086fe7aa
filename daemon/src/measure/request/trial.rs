//! What a plugin itself refuses, told with the request.

use goodwire_proto::plugin::v1::FieldViolation;

use crate::{
    measure::job::Job,
    plugins::{Limits, PluginError, Session, is_open_ended},
    refusal::{Refusal, Violation},
};

/// As [`accepted`], and learns from the plan whether the job is a watch: a watch shares its pilot
/// with all others, whatever their send.
pub(super) fn accepted_live(job: &mut Job) -> Result<(), Refusal> {
    let Some(mut session) = trial(job)? else {
        return Ok(());
    };
    match session.plan() {
        Ok(plan) if is_open_ended(&plan) => {
            job.is_watch = true;
            job.open.seed = 0;
        }
        Ok(_) => {}
        Err(error) => tracing::debug!(%error, "a trial session did not plan"),
    }
    session.close();
    Ok(())
}

/// Opens and closes a session, so that what the plugin itself refuses is told with the request.
/// Whatever else goes wrong then belongs to the measurement.
///
/// # Errors
/// Every parameter that the plugin refuses.
pub fn accepted(job: &Job) -> Result<(), Refusal> {
    trial(job)?.into_iter().for_each(Session::close);
    Ok(())
}

fn trial(job: &Job) -> Result<Option<Session>, Refusal> {
    match Session::open(&job.plugin, &job.open, &Limits::default()) {
        Ok(session) => Ok(Some(session)),
        Err(PluginError::Invalid(violations)) => Err(Refusal::Invalid(
            violations.into_iter().map(of_parameter).collect(),
        )),
        Err(error) => {
            tracing::debug!(%error, "a trial session did not open");
            Ok(None)
        }
    }
}

/// The violation of a parameter as a field of the request.
#[must_use]
pub fn of_parameter(violation: FieldViolation) -> Violation {
    Violation::new(format!("parameters.{}", violation.field), violation.text)
}
