//! The API as a client sees it, with short words for what most tests do.

use std::{path::Path, time::Duration};

use goodwire_proto::v1::{
    Figure, MeasureRequest, Measurement, WatchMeasurementRequest, WatchMeasurementResponse,
    analysis_service_client::AnalysisServiceClient,
    judgement_service_client::JudgementServiceClient, measurement::State,
    measurement_service_client::MeasurementServiceClient,
    report_service_client::ReportServiceClient, rig_service_client::RigServiceClient,
    round_service_client::RoundServiceClient, watch_measurement_response::News,
};
use hyper_util::rt::TokioIo;
use prost_types::{Struct, Value, value::Kind};
use tokio::net::UnixStream;
use tonic::{
    Status,
    transport::{Channel, Endpoint},
};
use tower::service_fn;

/// Longest that any measurement of a test may take.
const MEASUREMENT_TIMEOUT: Duration = Duration::from_secs(120);
/// Largest answer: curves of long stimuli.
const ANSWER_BYTES_MAX: usize = 64 << 20;

/// The services over one connection.
#[derive(Debug, Clone)]
pub struct Client {
    /// The connection, for other services.
    pub channel: Channel,
    /// State, links, hold, stop.
    pub rig: RigServiceClient<Channel>,
    /// What can be measured.
    pub analyses: AnalysisServiceClient<Channel>,
    /// Measurements.
    pub measurements: MeasurementServiceClient<Channel>,
    /// Limits and baselines.
    pub judgement: JudgementServiceClient<Channel>,
    /// Rounds and their runs.
    pub rounds: RoundServiceClient<Channel>,
    /// Reports.
    pub reports: ReportServiceClient<Channel>,
}

impl Client {
    /// Over a Unix socket.
    ///
    /// # Panics
    /// Where nobody listens.
    pub async fn over_unix(socket: &Path) -> Self {
        let socket = socket.to_owned();
        // The URL's host becomes the `:authority`; the path of a socket would be refused.
        let channel = Endpoint::from_static("http://localhost")
            .connect_with_connector(service_fn(move |_| {
                let socket = socket.clone();
                async move { UnixStream::connect(socket).await.map(TokioIo::new) }
            }))
            .await
            .expect("the daemon listens");
        Self::over(channel)
    }

    /// Over TCP, `http://HOST:PORT`.
    ///
    /// # Panics
    /// Where nobody listens.
    pub async fn over_tcp(url: &str) -> Self {
        let endpoint = Endpoint::from_shared(url.to_owned()).expect("a URL");
        Self::over(endpoint.connect().await.expect("the daemon listens"))
    }

    fn over(channel: Channel) -> Self {
        Self {
            rig: RigServiceClient::new(channel.clone()),
            analyses: AnalysisServiceClient::new(channel.clone()),
            measurements: MeasurementServiceClient::new(channel.clone())
                .max_decoding_message_size(ANSWER_BYTES_MAX),
            judgement: JudgementServiceClient::new(channel.clone()),
            rounds: RoundServiceClient::new(channel.clone()),
            reports: ReportServiceClient::new(channel.clone()),
            channel,
        }
    }

    /// Asks for measurements; they come back QUEUED.
    ///
    /// # Errors
    /// What the daemon refuses.
    pub async fn ask(&self, request: MeasureRequest) -> Result<Vec<Measurement>, Status> {
        let answer = self.measurements.clone().measure(request).await?;
        Ok(answer.into_inner().measurements)
    }

    /// Follows one measurement to its end.
    ///
    /// # Panics
    /// Where the stream ends otherwise.
    pub async fn end_of(&self, name: &str) -> Measurement {
        let news = self.news_of(name).await;
        let last = news.into_iter().rev().find_map(|news| match news {
            News::Measurement(measurement) => Some(measurement),
            _ => None,
        });
        let last = last.expect("a watch gives the measurement");
        assert!(
            has_ended(last.state()),
            "the watch ended while it was {:?}",
            last.state()
        );
        last
    }

    /// All that a watch tells, to its end.
    ///
    /// # Panics
    /// Where the stream fails, or does not end in time.
    pub async fn news_of(&self, name: &str) -> Vec<News> {
        let watching = async {
            let request = WatchMeasurementRequest { name: name.into() };
            let mut stream = self
                .measurements
                .clone()
                .watch_measurement(request)
                .await?
                .into_inner();
            let mut news = Vec::new();
            while let Some(WatchMeasurementResponse { news: Some(one) }) = stream.message().await? {
                news.push(one);
            }
            Ok::<_, Status>(news)
        };
        let watched = tokio::time::timeout(MEASUREMENT_TIMEOUT, watching).await;
        watched
            .expect("it ends in time")
            .expect("the stream ends well")
    }

    /// Measures one link and waits for the end.
    ///
    /// # Panics
    /// Where it is refused.
    pub async fn measure(
        &self,
        link: &str,
        analysis: &str,
        settings: &[(&str, &str)],
    ) -> Measurement {
        let asked = self
            .ask(request(link, analysis, settings))
            .await
            .expect("it is not refused");
        self.end_of(&asked[0].name).await
    }
}

/// A request for one link, or for `all`, with somebody present.
#[must_use]
pub fn request(link: &str, analysis: &str, settings: &[(&str, &str)]) -> MeasureRequest {
    MeasureRequest {
        links: vec![link.into()],
        analysis: analysis.into(),
        parameters: Some(parameters(settings)),
        present: true,
        ..MeasureRequest::default()
    }
}

/// Parameters as text; the daemon reads each by its kind.
#[must_use]
pub fn parameters(settings: &[(&str, &str)]) -> Struct {
    let value = |text: &str| Value {
        kind: Some(Kind::StringValue(text.into())),
    };
    let fields = settings
        .iter()
        .map(|(name, text)| ((*name).into(), value(text)));
    Struct {
        fields: fields.collect(),
    }
}

/// True for the three states in which a measurement stays.
#[must_use]
pub fn has_ended(state: State) -> bool {
    matches!(state, State::Succeeded | State::Failed | State::Cancelled)
}

/// The one figure of an id.
///
/// # Panics
/// Where there is none, or more than one.
#[must_use]
pub fn figure<'a>(measurement: &'a Measurement, id: &str) -> &'a Figure {
    let found: Vec<_> = measurement
        .figures
        .iter()
        .filter(|figure| figure.id == id)
        .collect();
    let ids: Vec<_> = measurement
        .figures
        .iter()
        .map(|figure| &figure.id)
        .collect();
    assert_eq!(
        found.len(),
        1,
        "figures {id} among {ids:?} of {:?}",
        measurement.reason
    );
    found[0]
}

/// The value of the one figure of an id.
///
/// # Panics
/// Where there is none.
#[must_use]
pub fn value(measurement: &Measurement, id: &str) -> f64 {
    figure(measurement, id).value.expect("a figure has a value")
}

/// Whether a measurement has a note.
#[must_use]
pub fn has_note(measurement: &Measurement, id: &str) -> bool {
    measurement.notes.iter().any(|note| note.id == id)
}

/// The id of why it did not succeed; empty where it did.
#[must_use]
pub fn reason(measurement: &Measurement) -> &str {
    measurement.reason.as_ref().map_or("", |reason| &reason.id)
}
