//! The watch service: what can be said to a watch while it goes on.

use std::sync::Arc;

use goodwire_proto::{
    plugin::v1::Mark,
    v1::{
        FinishMeasurementRequest, MarkMeasurementRequest, MarkMeasurementResponse, Measurement,
        watch_service_server::WatchService,
    },
};
use tonic::{Request, Response, Status};

use super::{Services, blocking};
use crate::{
    measure::{complete::Desk, job::bare, watch::is_final, watches::Running},
    refusal::{Refusal, Violation},
};

/// Most bytes of a mark's label.
const LABEL_BYTES_MAX: usize = 200;

#[tonic::async_trait]
impl WatchService for Services {
    async fn mark_measurement(
        &self,
        request: Request<MarkMeasurementRequest>,
    ) -> Result<Response<MarkMeasurementResponse>, Status> {
        let request = request.into_inner();
        let desk = Arc::clone(&self.desk);
        let start_s = blocking(move || mark(&desk, request)).await?;
        Ok(Response::new(MarkMeasurementResponse { start_s }))
    }

    async fn finish_measurement(
        &self,
        request: Request<FinishMeasurementRequest>,
    ) -> Result<Response<Measurement>, Status> {
        let name = request.into_inner().name;
        let desk = Arc::clone(&self.desk);
        Ok(Response::new(blocking(move || finish(&desk, &name)).await?))
    }
}

fn mark(desk: &Desk, request: MarkMeasurementRequest) -> Result<f64, Refusal> {
    let mut wrong = Vec::new();
    if let Some(metres) = request
        .metres
        .filter(|metres| !(0.0..).contains(metres) || metres.is_infinite())
    {
        let text = format!("{metres} m is no distance: 0 or more would be right");
        wrong.push(Violation::new("metres", text));
    }
    if request.label.len() > LABEL_BYTES_MAX {
        let text = format!(
            "has {} bytes, and at most {LABEL_BYTES_MAX}",
            request.label.len()
        );
        wrong.push(Violation::new("label", text));
    }
    let request_id = &request.request_id;
    if !request_id.is_empty() && uuid::Uuid::try_parse(request_id).is_err() {
        wrong.push(Violation::new(
            "request_id",
            format!("'{request_id}' is no UUID"),
        ));
    }
    if !wrong.is_empty() {
        return Err(Refusal::Invalid(wrong));
    }
    let mark = Mark {
        metres: request.metres,
        label: request.label,
    };
    let (_, running) = running(desk, &request.name)?;
    let running = running.ok_or_else(|| Refusal::Forbidden {
        reason: "NO_RUNNING_WATCH",
        text: format!("{} has ended, and takes no marks any more", request.name),
    })?;
    Ok(running.mark(mark, request_id))
}

fn finish(desk: &Desk, name: &str) -> Result<Measurement, Refusal> {
    let (measurement, running) = running(desk, name)?;
    if let Some(running) = running {
        running.finish();
    }
    Ok(measurement)
}

/// A measurement, and what runs of it; `None` where it has ended.
fn running(desk: &Desk, name: &str) -> Result<(Measurement, Option<Arc<Running>>), Refusal> {
    let running = desk.watches.get(bare(name));
    let measurement = desk.store.get(name)?;
    if running.is_some() || is_final(measurement.state()) {
        return Ok((measurement, running));
    }
    Err(Refusal::Forbidden {
        reason: "NO_RUNNING_WATCH",
        text: format!(
            "{} ({}) is no watch that runs just now: only a running watch can be marked or finished",
            measurement.name, measurement.analysis
        ),
    })
}
