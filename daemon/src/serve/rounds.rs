//! The round service: list, run, watch, cancel.

use std::{pin::Pin, sync::Arc, time::Duration};

use goodwire_proto::v1::{
    CancelRunRequest, GetRunRequest, ListRoundsRequest, ListRoundsResponse, ListRunsRequest,
    ListRunsResponse, Run, RunRoundRequest, WatchRunRequest, WatchRunResponse,
    round_service_server::RoundService,
};
use tokio::sync::{mpsc, watch};
use tokio_stream::{Stream, wrappers::ReceiverStream};
use tonic::{Request, Response, Status};

use super::{Services, blocking, errors};
use crate::{
    measure::{complete::Desk, job::bare},
    names,
    refusal::Refusal,
    rounds::{Asked, round_of},
    store::RunQuery,
};

/// Runs that wait for a slow watcher; what is news meanwhile is merged.
const NEWS_WAITING: usize = 4;
/// How long the last news of a run may take once the daemon ends.
const LAST_NEWS: Duration = Duration::from_millis(1500);

#[tonic::async_trait]
impl RoundService for Services {
    async fn list_rounds(
        &self,
        _: Request<ListRoundsRequest>,
    ) -> Result<Response<ListRoundsResponse>, Status> {
        let desk = Arc::clone(&self.desk);
        let rounds = blocking(move || {
            let rounds = desk.config.rounds.iter();
            let told = rounds.map(|round| Ok(round_of(&desk, round)?));
            told.collect::<Result<_, Refusal>>()
        });
        let rounds = rounds.await?;
        Ok(Response::new(ListRoundsResponse { rounds }))
    }

    async fn run_round(&self, request: Request<RunRoundRequest>) -> Result<Response<Run>, Status> {
        let request = request.into_inner();
        let Some(round) = self.desk.config.round(&request.name) else {
            let rounds = self.desk.config.rounds.iter();
            let known: Vec<&str> = rounds.map(|round| round.name.as_str()).collect();
            let text = names::unknown("round", bare(&request.name), &known);
            return Err(errors::status(&Refusal::NotFound(text)));
        };
        if !request.request_id.is_empty() && uuid::Uuid::try_parse(&request.request_id).is_err() {
            let text = format!("'{}' is no UUID", request.request_id);
            return Err(errors::status(&Refusal::field("request_id", text)));
        }
        let asked = Asked {
            due: None,
            request_id: request.request_id,
            present: request.present,
        };
        let begun = self.rounds.begin(round, asked).await;
        begun
            .map(Response::new)
            .map_err(|error| errors::status(&error.into()))
    }

    async fn get_run(&self, request: Request<GetRunRequest>) -> Result<Response<Run>, Status> {
        let name = request.into_inner().name;
        Ok(Response::new(get(Arc::clone(&self.desk), name).await?))
    }

    async fn list_runs(
        &self,
        request: Request<ListRunsRequest>,
    ) -> Result<Response<ListRunsResponse>, Status> {
        let request = request.into_inner();
        let query = RunQuery {
            round: bare(&request.round).to_owned(),
            since: request.since_time,
            page_size: request.page_size,
            page_token: request.page_token,
        };
        let desk = Arc::clone(&self.desk);
        let (runs, next_page_token) = blocking(move || Ok(desk.store.runs(&query)?)).await?;
        Ok(Response::new(ListRunsResponse {
            runs,
            next_page_token,
        }))
    }

    type WatchRunStream = Pin<Box<dyn Stream<Item = Result<WatchRunResponse, Status>> + Send>>;

    async fn watch_run(
        &self,
        request: Request<WatchRunRequest>,
    ) -> Result<Response<Self::WatchRunStream>, Status> {
        let name = format!("runs/{}", bare(&request.into_inner().name));
        let (news, stream) = mpsc::channel(NEWS_WAITING);
        match self.rounds.follow(&name) {
            Some(runs) => {
                let ending = self.ending.clone();
                tokio::spawn(async move {
                    let too_late = async {
                        ending.cancelled().await;
                        tokio::time::sleep(LAST_NEWS).await;
                    };
                    tokio::select! {
                        () = tell(runs, &news) => {}
                        () = too_late => {
                            let gone = Status::unavailable("the daemon is ending");
                            let _ = news.send(Err(gone)).await;
                        }
                    }
                });
            }
            None => {
                let run = get(Arc::clone(&self.desk), name).await?;
                // The channel is new and has room.
                let _ = news.send(Ok(WatchRunResponse { run: Some(run) })).await;
            }
        }
        Ok(Response::new(Box::pin(ReceiverStream::new(stream))))
    }

    async fn cancel_run(
        &self,
        request: Request<CancelRunRequest>,
    ) -> Result<Response<Run>, Status> {
        let name = format!("runs/{}", bare(&request.into_inner().name));
        if let Some(mut runs) = self.rounds.follow(&name) {
            let _ = self.rounds.cancel(&name);
            // Its measurements end within moments; the run with them.
            let ended = async { while runs.changed().await.is_ok() {} };
            let _ = tokio::time::timeout(LAST_NEWS, ended).await;
        }
        Ok(Response::new(get(Arc::clone(&self.desk), name).await?))
    }
}

async fn get(desk: Arc<Desk>, name: String) -> Result<Run, Status> {
    blocking(move || Ok(desk.store.run(&name)?)).await
}

/// Tells what changes, until the run has ended or the watcher is gone.
async fn tell(
    mut runs: watch::Receiver<Run>,
    news: &mpsc::Sender<Result<WatchRunResponse, Status>>,
) {
    loop {
        let run = runs.borrow_and_update().clone();
        if news
            .send(Ok(WatchRunResponse { run: Some(run) }))
            .await
            .is_err()
        {
            return;
        }
        if runs.changed().await.is_err() {
            return;
        }
    }
}
