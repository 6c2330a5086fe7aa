//! A server whose answers a test decides, and the real `goodwire` that talks to it.

use std::{
    path::Path,
    pin::Pin,
    process::{Command, Output, Stdio},
    sync::{Arc, Mutex},
};

use goodwire_proto::v1::{
    analysis_service_server::{AnalysisService, AnalysisServiceServer},
    measurement_service_server::{MeasurementService, MeasurementServiceServer},
    report_service_server::{ReportService, ReportServiceServer},
    rig_service_server::{RigService, RigServiceServer},
    *,
};
use tempfile::TempDir;
use tokio::{net::UnixListener, sync::Notify};
use tokio_stream::{Stream, StreamExt, wrappers::UnixListenerStream};
use tonic::{Request, Response, Status, Streaming, async_trait, transport::Server};

/// What one call of WatchMeasurement does.
#[derive(Debug, Clone)]
pub enum Watch {
    /// Tells that it runs, then the stream ends too early.
    Breaks,
    /// Tells the final state.
    Ends(Box<Measurement>),
    /// Runs until somebody cancels it, and then says so.
    UntilCancelled,
    /// Runs for ever.
    Hangs,
}

/// What the server is to answer, and what it was asked.
#[derive(Default)]
pub struct Script {
    /// Refusal of Measure.
    pub refusal: Option<Status>,
    /// Watches by the name of the measurement, each used once from the front.
    pub watches: Vec<(String, Watch)>,
    /// Pieces of the stimulus.
    pub stimulus: Vec<Result<stream_stimulus_response::Piece, Status>>,
    /// The links.
    pub links: Vec<Link>,
    /// Sounds of every measurement, by id, at 48 kHz.
    pub sounds: Vec<(String, Vec<f32>)>,
    /// What Measure was asked.
    pub measured: Vec<MeasureRequest>,
    /// What AnalyseRecordings was sent.
    pub uploaded: Vec<analyse_recordings_request::Piece>,
    /// What was cancelled.
    pub cancelled: Vec<String>,
}

/// A running mock server.
pub struct Mock {
    script: Arc<Mutex<Script>>,
    folder: TempDir,
}

/// The services.
#[derive(Clone)]
struct Services {
    script: Arc<Mutex<Script>>,
    cancelled: Arc<Notify>,
}

impl Mock {
    /// Starts a server with a script.
    pub fn start(script: Script) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let listener = UnixListener::bind(folder.path().join("mock.sock")).unwrap();
        let script = Arc::new(Mutex::new(script));
        let services = Services {
            script: script.clone(),
            cancelled: Arc::default(),
        };
        tokio::spawn(
            Server::builder()
                .add_service(RigServiceServer::new(services.clone()))
                .add_service(AnalysisServiceServer::new(services.clone()))
                .add_service(ReportServiceServer::new(services.clone()))
                .add_service(MeasurementServiceServer::new(services))
                .serve_with_incoming(UnixListenerStream::new(listener)),
        );
        Self { script, folder }
    }

    /// What was asked so far.
    pub fn asked<T>(&self, look: impl FnOnce(&Script) -> T) -> T {
        look(&self.script.lock().unwrap())
    }

    /// A folder for the test's files.
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// The command line, ready to run.
    pub fn command(&self, arguments: &[&str]) -> Command {
        let mut command = plain(Path::new(env!("CARGO_BIN_EXE_goodwire")), arguments);
        let server = format!("unix:{}", self.folder.path().join("mock.sock").display());
        command.env("GOODWIRE_SERVER", server);
        command.current_dir(self.folder.path());
        command
    }

    /// Runs the command line to its end.
    pub fn run(&self, arguments: &[&str]) -> Output {
        tokio::task::block_in_place(|| self.command(arguments).output().unwrap())
    }
}

/// The command line without anything of the tester's own surroundings.
pub fn plain(program: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(program);
    command
        .args(arguments)
        .env_clear()
        .env("LANG", "C.UTF-8")
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

/// A measurement that ended with an outcome.
pub fn ended(link: &str, outcome: verdict::Outcome) -> Measurement {
    let verdict = Verdict {
        outcome: outcome.into(),
        judgements: Vec::new(),
    };
    Measurement {
        verdict: Some(verdict),
        ..in_state(link, measurement::State::Succeeded)
    }
}

/// A measurement of a link in a state.
pub fn in_state(link: &str, state: measurement::State) -> Measurement {
    Measurement {
        name: format!("measurements/of-{link}"),
        link: format!("links/{link}"),
        analysis: "response".into(),
        state: state.into(),
        ..Measurement::default()
    }
}

fn told(measurement: Measurement) -> Result<WatchMeasurementResponse, Status> {
    let news = watch_measurement_response::News::Measurement(measurement);
    Ok(WatchMeasurementResponse { news: Some(news) })
}

type Answer<T> = Result<Response<T>, Status>;
type Pieces<T> = Pin<Box<dyn Stream<Item = Result<T, Status>> + Send>>;

fn no<T>() -> Answer<T> {
    Err(Status::unimplemented("no test asks this"))
}

#[async_trait]
impl MeasurementService for Services {
    async fn measure(&self, request: Request<MeasureRequest>) -> Answer<MeasureResponse> {
        let mut script = self.script.lock().unwrap();
        let request = request.into_inner();
        script.measured.push(request.clone());
        if let Some(refusal) = &script.refusal {
            return Err(refusal.clone());
        }
        let queued = |link: &String| in_state(link, measurement::State::Queued);
        Ok(Response::new(MeasureResponse {
            measurements: request.links.iter().map(queued).collect(),
        }))
    }

    async fn analyse_recordings(
        &self,
        request: Request<Streaming<AnalyseRecordingsRequest>>,
    ) -> Answer<AnalyseRecordingsResponse> {
        let mut pieces = request.into_inner();
        while let Some(piece) = pieces.message().await? {
            self.script.lock().unwrap().uploaded.extend(piece.piece);
        }
        Ok(Response::new(AnalyseRecordingsResponse {
            measurement: Some(in_state("upload", measurement::State::Queued)),
        }))
    }

    async fn get_measurement(
        &self,
        request: Request<GetMeasurementRequest>,
    ) -> Answer<Measurement> {
        let sound = |(id, samples): &(String, Vec<f32>)| Sound {
            id: id.clone(),
            rate_hz: 48_000,
            frame_count: samples.len() as i32,
        };
        let sounds = &self.script.lock().unwrap().sounds;
        Ok(Response::new(Measurement {
            name: request.into_inner().name,
            sounds: sounds.iter().map(sound).collect(),
            ..Measurement::default()
        }))
    }

    type ReadSoundStream = Pieces<ReadSoundResponse>;

    async fn read_sound(
        &self,
        request: Request<ReadSoundRequest>,
    ) -> Answer<Self::ReadSoundStream> {
        let id = request.into_inner().sound;
        let sounds = &self.script.lock().unwrap().sounds;
        let (_, samples) = sounds.iter().find(|(of, _)| *of == id).unwrap();
        let pieces: Vec<_> = samples
            .chunks(2)
            .map(<[f32]>::to_vec)
            .map(|samples| Ok(ReadSoundResponse { samples }))
            .collect();
        Ok(Response::new(Box::pin(tokio_stream::iter(pieces))))
    }

    async fn list_measurements(
        &self,
        request: Request<ListMeasurementsRequest>,
    ) -> Answer<ListMeasurementsResponse> {
        let count = request.into_inner().page_size;
        Ok(Response::new(ListMeasurementsResponse {
            measurements: (0..count)
                .map(|n| in_state(&n.to_string(), measurement::State::Failed))
                .collect(),
            next_page_token: "more".into(),
        }))
    }

    type WatchMeasurementStream = Pieces<WatchMeasurementResponse>;

    async fn watch_measurement(
        &self,
        request: Request<WatchMeasurementRequest>,
    ) -> Answer<Self::WatchMeasurementStream> {
        let name = request.into_inner().name;
        let mut script = self.script.lock().unwrap();
        let Some(at) = script.watches.iter().position(|(of, _)| *of == name) else {
            return Err(Status::not_found(format!("no {name}")));
        };
        let watch = script.watches.remove(at).1;
        let link = name.trim_start_matches("measurements/of-").to_owned();
        let running = told(in_state(&link, measurement::State::Running));
        let cancelled = self.cancelled.clone();
        let after: Pieces<_> = match watch {
            Watch::Breaks => Box::pin(tokio_stream::empty()),
            Watch::Ends(measurement) => Box::pin(tokio_stream::once(told(*measurement))),
            Watch::Hangs => Box::pin(tokio_stream::pending()),
            Watch::UntilCancelled => Box::pin(tokio_stream::once(()).then(move |()| {
                let cancelled = cancelled.clone();
                let last = in_state(&link, measurement::State::Cancelled);
                async move {
                    cancelled.notified().await;
                    told(last)
                }
            })),
        };
        Ok(Response::new(Box::pin(
            tokio_stream::once(running).chain(after),
        )))
    }

    async fn cancel_measurement(
        &self,
        request: Request<CancelMeasurementRequest>,
    ) -> Answer<Measurement> {
        let name = request.into_inner().name;
        self.script.lock().unwrap().cancelled.push(name);
        self.cancelled.notify_waiters();
        self.cancelled.notify_one();
        Ok(Response::new(Measurement::default()))
    }

    async fn compare_measurements(
        &self,
        request: Request<CompareMeasurementsRequest>,
    ) -> Answer<CompareMeasurementsResponse> {
        let names = request.into_inner().names;
        let of_name = |name| Measurement {
            name,
            ..Measurement::default()
        };
        Ok(Response::new(CompareMeasurementsResponse {
            measurements: names.into_iter().map(of_name).collect(),
            ..CompareMeasurementsResponse::default()
        }))
    }
}

#[async_trait]
impl ReportService for Services {
    type RenderReportStream = Pieces<RenderReportResponse>;

    async fn render_report(
        &self,
        _: Request<RenderReportRequest>,
    ) -> Answer<Self::RenderReportStream> {
        no()
    }

    async fn draw_channel_plan(
        &self,
        request: Request<DrawChannelPlanRequest>,
    ) -> Answer<DrawChannelPlanResponse> {
        let svg = format!("<svg><title>{}</title></svg>", request.into_inner().name);
        Ok(Response::new(DrawChannelPlanResponse {
            svg: svg.into_bytes(),
        }))
    }
}

#[async_trait]
impl AnalysisService for Services {
    async fn list_analyses(&self, _: Request<ListAnalysesRequest>) -> Answer<ListAnalysesResponse> {
        no()
    }

    async fn get_analysis(&self, _: Request<GetAnalysisRequest>) -> Answer<Analysis> {
        no()
    }

    type StreamStimulusStream = Pieces<StreamStimulusResponse>;

    async fn stream_stimulus(
        &self,
        _: Request<StreamStimulusRequest>,
    ) -> Answer<Self::StreamStimulusStream> {
        let pieces = self.script.lock().unwrap().stimulus.clone();
        let pieces = pieces
            .into_iter()
            .map(|piece| piece.map(|piece| StreamStimulusResponse { piece: Some(piece) }));
        Ok(Response::new(Box::pin(tokio_stream::iter(
            pieces.collect::<Vec<_>>(),
        ))))
    }
}

#[async_trait]
impl RigService for Services {
    async fn get_status(&self, _: Request<GetStatusRequest>) -> Answer<goodwire_proto::v1::Status> {
        no()
    }

    async fn list_devices(&self, _: Request<ListDevicesRequest>) -> Answer<ListDevicesResponse> {
        no()
    }

    async fn list_links(&self, _: Request<ListLinksRequest>) -> Answer<ListLinksResponse> {
        Ok(Response::new(ListLinksResponse {
            links: self.script.lock().unwrap().links.clone(),
            next_page_token: String::new(),
        }))
    }

    async fn get_link(&self, _: Request<GetLinkRequest>) -> Answer<Link> {
        no()
    }

    async fn calibrate(&self, _: Request<CalibrateRequest>) -> Answer<Calibration> {
        no()
    }

    async fn hold(&self, _: Request<HoldRequest>) -> Answer<HoldResponse> {
        no()
    }

    async fn release(&self, _: Request<ReleaseRequest>) -> Answer<ReleaseResponse> {
        no()
    }

    async fn permit(&self, _: Request<PermitRequest>) -> Answer<PermitState> {
        no()
    }

    async fn withdraw_permit(
        &self,
        _: Request<WithdrawPermitRequest>,
    ) -> Answer<WithdrawPermitResponse> {
        no()
    }

    async fn excuse_link(&self, _: Request<ExcuseLinkRequest>) -> Answer<Link> {
        no()
    }

    async fn stop(&self, _: Request<StopRequest>) -> Answer<StopResponse> {
        no()
    }
}
