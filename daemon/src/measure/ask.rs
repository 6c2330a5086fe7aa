//! From a request to measurements that are stored and queued.

use goodwire_proto::v1::{MeasureRequest, Measurement};

use super::{complete::Desk, job::Job};
use crate::refusal::Refusal;

/// Measurements of one request, and whether it was the first of its id.
pub struct Created {
    /// As they are stored.
    pub measurements: Vec<Measurement>,
    /// False where the id was used before.
    pub new: bool,
}

/// Queues the measurements of a request; a repeated request id gives the first ones again.
///
/// # Errors
/// Every wrong field at once, or why nothing may be played.
pub fn measure(desk: &Desk, request: &MeasureRequest) -> Result<Vec<Measurement>, Refusal> {
    if let Some(first) = asked_before(desk, &request.request_id)? {
        return Ok(first);
    }
    let jobs = desk.live_jobs(request)?;
    let created = create(desk, jobs.clone(), &request.request_id)?;
    if created.new && !desk.queue.push(jobs) {
        return Err(Refusal::Ending);
    }
    Ok(created.measurements)
}

/// The measurements that a request id was used for; `None` where it is new.
///
/// # Errors
/// Where it is no UUID.
pub fn asked_before(desk: &Desk, request_id: &str) -> Result<Option<Vec<Measurement>>, Refusal> {
    if request_id.is_empty() {
        return Ok(None);
    }
    if uuid::Uuid::try_parse(request_id).is_err() {
        return Err(Refusal::field(
            "request_id",
            format!("'{request_id}' is no UUID"),
        ));
    }
    let first = desk.store.find_request(request_id)?;
    Ok((!first.is_empty()).then_some(first))
}

/// Stores new measurements and begins to tell of them, before anything can happen to them.
///
/// # Errors
/// What the store can meet.
pub fn create(desk: &Desk, jobs: Vec<Job>, request_id: &str) -> Result<Created, Refusal> {
    let wanted: Vec<Measurement> = jobs.into_iter().map(|job| job.measurement).collect();
    wanted
        .iter()
        .for_each(|measurement| desk.watchers.begin(measurement));
    let request_id = (!request_id.is_empty()).then_some(request_id);
    let stored = desk.store.create(&wanted, request_id);
    let new = stored.as_ref().is_ok_and(|measurements| {
        measurements
            .iter()
            .zip(&wanted)
            .all(|(stored, wanted)| stored.name == wanted.name)
    });
    if !new {
        wanted
            .iter()
            .for_each(|measurement| desk.watchers.drop(&measurement.name));
    }
    Ok(Created {
        measurements: stored?,
        new,
    })
}
