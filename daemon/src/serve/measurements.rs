//! The measurement service: ask, watch, cancel, look up, compare.

use std::{pin::Pin, sync::Arc, time::Duration};

use goodwire_proto::v1::{
    AnalyseRecordingsRequest, AnalyseRecordingsResponse, CancelMeasurementRequest,
    CompareMeasurementsRequest, CompareMeasurementsResponse, GetMeasurementRequest,
    ListMeasurementsRequest, ListMeasurementsResponse, LiveReadings, MeasureRequest,
    MeasureResponse, Measurement, ReadSoundRequest, ReadSoundResponse, WatchMeasurementRequest,
    WatchMeasurementResponse, measurement_service_server::MeasurementService,
    watch_measurement_response::News,
};
use tokio::sync::{mpsc, watch};
use tokio_stream::{Stream, wrappers::ReceiverStream};
use tonic::{Request, Response, Status, Streaming};

use super::{Services, blocking, upload};
use crate::{
    judge,
    measure::{
        ask::{asked_before, create, measure},
        complete::Desk,
        job::{Ending, bare},
        watch::{Snapshot, is_final},
    },
    names,
    refusal::Refusal,
    store::ListQuery,
};

/// Samples in one message of a sound.
const PIECE_SAMPLES: usize = 16_384;
/// Messages that wait for a slow watcher; what is news meanwhile is merged.
const NEWS_WAITING: usize = 8;

/// Once the daemon ends, a measurement is interrupted; its watchers hear so within this, or are
/// told to ask again later.
const LAST_NEWS: Duration = Duration::from_millis(1500);

#[tonic::async_trait]
impl MeasurementService for Services {
    async fn measure(
        &self,
        request: Request<MeasureRequest>,
    ) -> Result<Response<MeasureResponse>, Status> {
        let request = request.into_inner();
        let desk = Arc::clone(&self.desk);
        let measurements = blocking(move || measure(&desk, &request)).await?;
        Ok(Response::new(MeasureResponse { measurements }))
    }

    async fn analyse_recordings(
        &self,
        request: Request<Streaming<AnalyseRecordingsRequest>>,
    ) -> Result<Response<AnalyseRecordingsResponse>, Status> {
        let received = upload::receive(request.into_inner(), &self.desk).await?;
        let services = self.clone();
        let measurement = blocking(move || {
            let request_id = received.header.request_id.clone();
            if let Some(first) = asked_before(&services.desk, &request_id)? {
                return one(first);
            }
            let (job, sounds) = received.into_job(&services.desk)?;
            let created = create(&services.desk, vec![job.clone()], &request_id)?;
            if created.new {
                services.desk.queue.register(&job);
                services.recorded.push(job, sounds);
            }
            one(created.measurements)
        });
        Ok(Response::new(AnalyseRecordingsResponse {
            measurement: Some(measurement.await?),
        }))
    }

    async fn get_measurement(
        &self,
        request: Request<GetMeasurementRequest>,
    ) -> Result<Response<Measurement>, Status> {
        let name = request.into_inner().name;
        let desk = Arc::clone(&self.desk);
        Ok(Response::new(blocking(move || get(&desk, &name)).await?))
    }

    async fn list_measurements(
        &self,
        request: Request<ListMeasurementsRequest>,
    ) -> Result<Response<ListMeasurementsResponse>, Status> {
        let request = request.into_inner();
        let desk = Arc::clone(&self.desk);
        Ok(Response::new(
            blocking(move || list(&desk, &request)).await?,
        ))
    }

    type WatchMeasurementStream =
        Pin<Box<dyn Stream<Item = Result<WatchMeasurementResponse, Status>> + Send>>;

    async fn watch_measurement(
        &self,
        request: Request<WatchMeasurementRequest>,
    ) -> Result<Response<Self::WatchMeasurementStream>, Status> {
        let name = request.into_inner().name;
        let full_name = format!("measurements/{}", bare(&name));
        let (news, stream) = mpsc::channel(NEWS_WAITING);
        match self.desk.watchers.follow(&full_name) {
            Some(snapshots) => {
                let ending = self.ending.clone();
                tokio::spawn(async move {
                    let too_late = async {
                        ending.cancelled().await;
                        tokio::time::sleep(LAST_NEWS).await;
                    };
                    let told = tokio::select! {
                        () = tell(snapshots, &news) => true,
                        () = too_late => false,
                    };
                    if !told {
                        let _ = news
                            .send(Err(Status::unavailable("the daemon is ending")))
                            .await;
                    }
                });
            }
            None => {
                let desk = Arc::clone(&self.desk);
                let measurement = blocking(move || get(&desk, &name)).await?;
                // The channel is new and has room.
                let _ = news.send(Ok(message(News::Measurement(measurement)))).await;
            }
        }
        Ok(Response::new(Box::pin(ReceiverStream::new(stream))))
    }

    async fn cancel_measurement(
        &self,
        request: Request<CancelMeasurementRequest>,
    ) -> Result<Response<Measurement>, Status> {
        let name = request.into_inner().name;
        let desk = Arc::clone(&self.desk);
        let measurement = blocking(move || {
            desk.end(
                bare(&name),
                Ending::Cancelled("cancelled by a client".into()),
            );
            get(&desk, &name)
        });
        Ok(Response::new(measurement.await?))
    }

    type ReadSoundStream = ReceiverStream<Result<ReadSoundResponse, Status>>;

    async fn read_sound(
        &self,
        request: Request<ReadSoundRequest>,
    ) -> Result<Response<Self::ReadSoundStream>, Status> {
        let ReadSoundRequest { name, sound } = request.into_inner();
        let desk = Arc::clone(&self.desk);
        let samples = blocking(move || read_sound(&desk, &name, &sound)).await?;
        let (pieces, stream) = mpsc::channel(NEWS_WAITING);
        tokio::spawn(async move {
            for samples in samples.chunks(PIECE_SAMPLES).map(<[f32]>::to_vec) {
                if pieces
                    .send(Ok(ReadSoundResponse { samples }))
                    .await
                    .is_err()
                {
                    return;
                }
            }
        });
        Ok(Response::new(ReceiverStream::new(stream)))
    }

    async fn compare_measurements(
        &self,
        request: Request<CompareMeasurementsRequest>,
    ) -> Result<Response<CompareMeasurementsResponse>, Status> {
        let names = request.into_inner().names;
        let desk = Arc::clone(&self.desk);
        let compared = blocking(move || {
            if names.len() < 2 {
                return Err(Refusal::field(
                    "names",
                    "at least two measurements are compared",
                ));
            }
            let measurements: Vec<Measurement> = names
                .iter()
                .map(|name| get(&desk, name))
                .collect::<Result<_, _>>()?;
            Ok(judge::compare(&measurements))
        });
        Ok(Response::new(compared.await?))
    }
}

fn one(measurements: Vec<Measurement>) -> Result<Measurement, Refusal> {
    let first = measurements.into_iter().next();
    first.ok_or_else(|| Refusal::field("request_id", "belongs to a request without measurements"))
}

fn get(desk: &Desk, name: &str) -> Result<Measurement, Refusal> {
    let mut measurement = desk.store.get(name)?;
    if let Some(snapshot) = desk.watchers.follow(&measurement.name) {
        measurement.progress = snapshot.borrow().progress;
    }
    Ok(measurement)
}

fn read_sound(desk: &Desk, name: &str, sound: &str) -> Result<Vec<f32>, Refusal> {
    if let Some(samples) = desk.store.sound(name, sound)? {
        return Ok(samples);
    }
    let sounds = desk.store.get(name)?.sounds;
    let known: Vec<&str> = sounds.iter().map(|one| one.id.as_str()).collect();
    Err(Refusal::NotFound(if known.contains(&sound) {
        format!("the sound '{sound}' is kept no more: only the newest measurements keep theirs")
    } else {
        names::unknown("sound", sound, &known)
    }))
}

fn list(
    desk: &Desk,
    request: &ListMeasurementsRequest,
) -> Result<ListMeasurementsResponse, Refusal> {
    let link = bare(&request.link);
    let query = ListQuery {
        link: link.to_owned(),
        analysis: bare(&request.analysis).to_owned(),
        since: request.since_time,
        outcome: request.outcome(),
        page_size: request.page_size,
        page_token: request.page_token.clone(),
    };
    let page = desk.store.list(&query)?;
    let known = link.is_empty() || desk.config.links.iter().any(|one| one.name == link);
    // Results of links that were taken out of the configuration can still be asked for.
    if !known && page.measurements.is_empty() {
        return Err(Refusal::field("link", desk.unknown_link(link)));
    }
    Ok(ListMeasurementsResponse {
        measurements: page.measurements,
        next_page_token: page.next_page_token,
    })
}

fn message(news: News) -> WatchMeasurementResponse {
    WatchMeasurementResponse { news: Some(news) }
}

/// Tells what changes, until the final state or until the watcher is gone.
async fn tell(
    mut snapshots: watch::Receiver<Snapshot>,
    news: &mpsc::Sender<Result<WatchMeasurementResponse, Status>>,
) {
    let mut told: Option<Snapshot> = None;
    loop {
        let snapshot = snapshots.borrow_and_update().clone();
        for piece in news_since(told.as_ref(), &snapshot) {
            if news.send(Ok(message(piece))).await.is_err() {
                return;
            }
        }
        if is_final(snapshot.measurement.state()) {
            return;
        }
        told = Some(snapshot);
        if snapshots.changed().await.is_err() {
            return;
        }
    }
}

fn news_since(told: Option<&Snapshot>, now: &Snapshot) -> Vec<News> {
    let mut news = Vec::new();
    if told.is_none_or(|told| !Arc::ptr_eq(&told.measurement, &now.measurement)) {
        news.push(News::Measurement((*now.measurement).clone()));
    }
    let Some(told) = told else {
        if !now.waiting.is_empty() {
            news.push(News::Waiting(now.waiting.clone()));
        }
        return news;
    };
    if told.progress < now.progress {
        news.push(News::Progress(now.progress));
    }
    if !Arc::ptr_eq(&told.readings, &now.readings) {
        news.push(News::Readings(LiveReadings {
            figures: (*now.readings).clone(),
        }));
    }
    if told.waiting != now.waiting && !now.waiting.is_empty() {
        news.push(News::Waiting(now.waiting.clone()));
    }
    news
}
