//! The judgement service: limits and baselines.

use std::sync::Arc;

use goodwire_proto::plugin::v1::SessionResult;
use goodwire_proto::v1::{
    Baseline, ClearBaselineRequest, ClearBaselineResponse, GetTrendRequest, GetTrendResponse,
    ImportBaselineRequest, Limit, ListBaselinesRequest, ListBaselinesResponse, ListLimitsRequest,
    ListLimitsResponse, Measurement, SetBaselineRequest,
    judgement_service_server::JudgementService, measurement::State,
};
use tonic::{Request, Response, Status};

use super::{Services, blocking, pages, trend};
use crate::{
    measure::{complete::Desk, job::bare},
    plugins::check_result,
    refusal::{Refusal, Violation},
};

#[tonic::async_trait]
impl JudgementService for Services {
    async fn list_limits(
        &self,
        _: Request<ListLimitsRequest>,
    ) -> Result<Response<ListLimitsResponse>, Status> {
        let limits = self.desk.config.limits.iter().map(Limit::from).collect();
        Ok(Response::new(ListLimitsResponse { limits }))
    }

    async fn set_baseline(
        &self,
        request: Request<SetBaselineRequest>,
    ) -> Result<Response<Baseline>, Status> {
        let name = request.into_inner().measurement;
        let desk = Arc::clone(&self.desk);
        Ok(Response::new(
            blocking(move || set_baseline(&desk, &name)).await?,
        ))
    }

    async fn import_baseline(
        &self,
        request: Request<ImportBaselineRequest>,
    ) -> Result<Response<Baseline>, Status> {
        let measurement = request.into_inner().measurement.unwrap_or_default();
        let desk = Arc::clone(&self.desk);
        let imported = blocking(move || import_baseline(&desk, measurement));
        Ok(Response::new(imported.await?))
    }

    async fn list_baselines(
        &self,
        request: Request<ListBaselinesRequest>,
    ) -> Result<Response<ListBaselinesResponse>, Status> {
        let request = request.into_inner();
        let desk = Arc::clone(&self.desk);
        let response = blocking(move || {
            let all = desk.store.baselines()?;
            let (baselines, next_page_token) =
                pages::cut(all, request.page_size, &request.page_token)?;
            Ok(ListBaselinesResponse {
                baselines,
                next_page_token,
            })
        });
        Ok(Response::new(response.await?))
    }

    async fn get_trend(
        &self,
        request: Request<GetTrendRequest>,
    ) -> Result<Response<GetTrendResponse>, Status> {
        let desk = Arc::clone(&self.desk);
        let got = blocking(move || trend::get(&desk, request.into_inner()));
        Ok(Response::new(got.await?))
    }

    async fn clear_baseline(
        &self,
        request: Request<ClearBaselineRequest>,
    ) -> Result<Response<ClearBaselineResponse>, Status> {
        let request = request.into_inner();
        let desk = Arc::clone(&self.desk);
        let cleared = blocking(move || {
            let (link, analysis) = (bare(&request.link), bare(&request.analysis));
            if desk.store.clear_baseline(link, analysis)? {
                return Ok(ClearBaselineResponse {});
            }
            let text = format!("there is no baseline of '{analysis}' for the link '{link}'");
            Err(Refusal::NotFound(text))
        });
        Ok(Response::new(cleared.await?))
    }
}

fn import_baseline(desk: &Desk, measurement: Measurement) -> Result<Baseline, Refusal> {
    let mut wrong = Vec::new();
    let mut refuse = |field: &str, text: String| {
        wrong.push(Violation::new(format!("measurement.{field}"), text));
    };
    if uuid::Uuid::try_parse(bare(&measurement.name)).is_err() {
        refuse(
            "name",
            format!("'{}' is no name of a measurement", measurement.name),
        );
    }
    if measurement.state() != State::Succeeded {
        refuse("state", "only what has SUCCEEDED can be a baseline".into());
    }
    if desk.config.link(&measurement.link).is_none() {
        refuse("link", desk.unknown_link(bare(&measurement.link)));
    }
    if measurement.analysis.is_empty() {
        refuse("analysis", "is missing".into());
    }
    let result = SessionResult {
        figures: measurement.figures.clone(),
        curves: measurement.curves.clone(),
        events: measurement.events.clone(),
        notes: measurement.notes.clone(),
        ..SessionResult::default()
    };
    if let Err(text) = check_result(&result) {
        refuse("figures", format!("this is no result: {text}"));
    }
    if !wrong.is_empty() {
        return Err(Refusal::Invalid(wrong));
    }
    // What another machine's limits said is not said here, and its sounds stayed there.
    let kept = Measurement {
        name: format!("measurements/{}", bare(&measurement.name)),
        link: format!("links/{}", bare(&measurement.link)),
        verdict: None,
        findings: Vec::new(),
        sounds: Vec::new(),
        ..measurement
    };
    Ok(desk.store.import_baseline(&kept, desk.clock.timestamp())?)
}

fn set_baseline(desk: &Desk, name: &str) -> Result<Baseline, Refusal> {
    let measurement = desk.store.get(name)?;
    let refuse = |text: &str| {
        let text = format!("{} cannot be a baseline: {text}", measurement.name);
        Err(Refusal::Forbidden {
            reason: "NOT_A_BASELINE",
            text,
        })
    };
    if measurement.state() != State::Succeeded {
        return refuse("it has not succeeded");
    }
    if measurement.link.is_empty() {
        return refuse("it belongs to no link");
    }
    let Measurement {
        link,
        analysis,
        name,
        ..
    } = &measurement;
    Ok(desk
        .store
        .set_baseline(link, analysis, name, desk.clock.timestamp())?)
}
