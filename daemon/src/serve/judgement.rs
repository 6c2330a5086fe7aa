//! The judgement service: limits and baselines.

use std::sync::Arc;

use goodwire_proto::v1::{
    Baseline, ClearBaselineRequest, ClearBaselineResponse, GetTrendRequest, GetTrendResponse,
    Limit, ListBaselinesRequest, ListBaselinesResponse, ListLimitsRequest, ListLimitsResponse,
    Measurement, SetBaselineRequest, judgement_service_server::JudgementService,
    measurement::State,
};
use tonic::{Request, Response, Status};

use super::{Services, blocking, pages, trend};
use crate::{
    measure::{complete::Desk, job::bare},
    refusal::Refusal,
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
