//! The analysis service: what can be measured, and the sounds that measurements play.

use std::sync::Arc;

use goodwire_proto::{
    plugin::v1::{OpenRequest, open_request::Mode},
    v1::{
        Analysis, GetAnalysisRequest, ListAnalysesRequest, ListAnalysesResponse, StimulusHeader,
        StimulusSamples, StreamStimulusRequest, StreamStimulusResponse,
        analysis_service_server::AnalysisService, stream_stimulus_response::Piece,
    },
};
use prost_types::Struct;
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Request, Response, Status};

use super::{Services, blocking};
use crate::{
    measure::{
        complete::{Desk, of_plugin},
        request::{Found, of_parameter},
        worker::render,
    },
    plugins::{Limits, PluginError, Session, check_parameters},
    recordings::comment,
    refusal::{Refusal, Violation},
};

/// Samples in one message of a stimulus.
const PIECE_SAMPLES: usize = 16_384;
/// Messages that wait for a slow reader.
const PIECES_WAITING: usize = 8;
/// Rates that a stimulus file may have, in Hz.
const RATES_HZ: std::ops::RangeInclusive<i32> = 44_100..=192_000;

#[tonic::async_trait]
impl AnalysisService for Services {
    async fn list_analyses(
        &self,
        _: Request<ListAnalysesRequest>,
    ) -> Result<Response<ListAnalysesResponse>, Status> {
        Ok(Response::new(ListAnalysesResponse {
            analyses: self.desk.registry.analyses(),
        }))
    }

    async fn get_analysis(
        &self,
        request: Request<GetAnalysisRequest>,
    ) -> Result<Response<Analysis>, Status> {
        let name = request.into_inner().name;
        let desk = Arc::clone(&self.desk);
        let analysis = blocking(move || {
            let found = desk
                .find(&name)
                .map_err(|one| Refusal::NotFound(one.text))?;
            let analyses = desk.registry.analyses();
            let named = format!("analyses/{}", found.analysis);
            let analysis = analyses.into_iter().find(|analysis| analysis.name == named);
            analysis.ok_or_else(|| Refusal::NotFound(format!("there is no {named}")))
        });
        Ok(Response::new(analysis.await?))
    }

    type StreamStimulusStream = ReceiverStream<Result<StreamStimulusResponse, Status>>;

    async fn stream_stimulus(
        &self,
        request: Request<StreamStimulusRequest>,
    ) -> Result<Response<Self::StreamStimulusStream>, Status> {
        let request = request.into_inner();
        let desk = Arc::clone(&self.desk);
        let (header, samples) = blocking(move || stimulus(&desk, &request)).await?;
        let (pieces, stream) = mpsc::channel(PIECES_WAITING);
        tokio::spawn(async move {
            let blocks = samples.chunks(PIECE_SAMPLES).map(|block| {
                Piece::Samples(StimulusSamples {
                    samples: block.to_vec(),
                })
            });
            for piece in std::iter::once(Piece::Header(header)).chain(blocks) {
                let message = StreamStimulusResponse { piece: Some(piece) };
                if pieces.send(Ok(message)).await.is_err() {
                    return;
                }
            }
        });
        Ok(Response::new(ReceiverStream::new(stream)))
    }
}

fn stimulus(
    desk: &Desk,
    request: &StreamStimulusRequest,
) -> Result<(StimulusHeader, Vec<f32>), Refusal> {
    let mut wrong = Vec::new();
    if !RATES_HZ.contains(&request.rate_hz) {
        let text = format!("{} Hz is outside 44100 to 192000 Hz", request.rate_hz);
        wrong.push(Violation::new("rate_hz", text));
    }
    let found = desk
        .find(&request.analysis)
        .map_err(|one| wrong.push(one))
        .ok();
    if let Some(found) = found.as_ref().filter(|found| found.without_audio) {
        let text = format!("'{}' needs no audio: it plays nothing", found.analysis);
        wrong.push(Violation::new("analysis", text));
    }
    let given = request.parameters.clone().unwrap_or_default();
    let parameters = found.as_ref().and_then(|found| {
        check_parameters(&found.schema, &given)
            .map_err(|violations| wrong.extend(violations.into_iter().map(of_parameter)))
            .ok()
    });
    match (found, parameters) {
        (Some(found), Some(parameters)) if wrong.is_empty() => {
            rendered(&found, parameters, request.rate_hz)
        }
        _ => Err(Refusal::Invalid(wrong)),
    }
}

fn rendered(
    found: &Found,
    parameters: Struct,
    rate_hz: i32,
) -> Result<(StimulusHeader, Vec<f32>), Refusal> {
    let open = OpenRequest {
        analysis: found.analysis.clone(),
        parameters: Some(parameters.clone()),
        mode: Mode::Stimulus as i32,
        rate_hz,
        returned_rate_hz: rate_hz,
        ..OpenRequest::default()
    };
    let (samples, peak_dbfs) = play(found, &open).map_err(refused)?;
    let header = StimulusHeader {
        rate_hz,
        frame_count: i32::try_from(samples.len()).unwrap_or(i32::MAX),
        peak_dbfs,
        comment: comment::encode(&found.analysis, &parameters, rate_hz),
    };
    Ok((header, samples))
}

/// Renders all steps of a plan, one after the other with their tails.
fn play(found: &Found, open: &OpenRequest) -> Result<(Vec<f32>, f64), PluginError> {
    let mut session = Session::open(&found.plugin, open, &Limits::default())?;
    let plan = session.plan()?;
    let stimuli = render(&mut session, &plan)?;
    session.close();
    let mut samples: Vec<f32> = Vec::new();
    let mut silence = 0;
    for (step, stimulus) in plan.steps.iter().zip(stimuli) {
        for _ in 0..step.repeat_count.max(1) {
            samples.resize(samples.len() + silence, 0.0);
            samples.extend(stimulus.iter());
            silence = step.tail_frame_count.max(0) as usize;
        }
    }
    let peak = plan
        .steps
        .iter()
        .map(|step| step.peak_dbfs)
        .fold(f64::NEG_INFINITY, f64::max);
    Ok((samples, peak.max(-200.0)))
}

/// What a client is told of a plugin that cannot render.
fn refused(error: PluginError) -> Refusal {
    match error {
        PluginError::Invalid(violations) => {
            Refusal::Invalid(violations.into_iter().map(of_parameter).collect())
        }
        error => {
            let text = of_plugin(&error).state_and_reason().1.text;
            Refusal::Forbidden {
                reason: "PLUGIN_FAILED",
                text,
            }
        }
    }
}
