//! Stimuli downloaded, recordings uploaded, and clients that vanish in the midst.

use std::{fs, io::Cursor, time::Duration};

use goodwire_proto::v1::{
    AnalyseRecordingsRequest, ListMeasurementsRequest, Measurement, RecordingChunk,
    RecordingsHeader, StreamStimulusRequest, WatchMeasurementRequest,
    analyse_recordings_request::Piece, measurement::State, recording_chunk::File,
    stream_stimulus_response::Piece as Stimulus,
};
use goodwire_tests::{
    client::{Client, request, value},
    daemon::Daemon,
    eventually::eventually,
    rig::{CELLAR, cellar_in_real_time},
};
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Code, Status};

/// The stimulus of an analysis as a WAV file's bytes.
pub async fn stimulus(client: &Client, analysis: &str) -> Vec<u8> {
    let request = StreamStimulusRequest {
        analysis: analysis.into(),
        rate_hz: 48000,
        parameters: None,
    };
    let stream = client.analyses.clone().stream_stimulus(request).await;
    let mut stream = stream.unwrap().into_inner();
    let first = stream.message().await.unwrap().unwrap().piece.unwrap();
    let Stimulus::Header(header) = first else {
        panic!("first the header")
    };
    assert!(header.rate_hz == 48000 && header.peak_dbfs <= 0.0 && !header.comment.is_empty());
    let mut samples = Vec::new();
    while let Some(message) = stream.message().await.unwrap() {
        let Some(Stimulus::Samples(block)) = message.piece else {
            panic!("then samples alone")
        };
        assert!((1..=16384).contains(&block.samples.len()));
        samples.extend(block.samples);
    }
    assert_eq!(samples.len(), usize::try_from(header.frame_count).unwrap());
    let peak = samples.iter().fold(0.0_f32, |peak, x| peak.max(x.abs()));
    assert!(
        20.0 * f64::from(peak).log10() <= header.peak_dbfs + 1e-4,
        "the peak is as told"
    );
    wav(&samples)
}

fn wav(samples: &[f32]) -> Vec<u8> {
    let format = hound::WavSpec {
        channels: 1,
        sample_rate: 48000,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, format).unwrap();
    samples
        .iter()
        .for_each(|&sample| writer.write_sample(sample).unwrap());
    writer.finalize().unwrap();
    bytes.into_inner()
}

fn header(analysis: &str) -> AnalyseRecordingsRequest {
    let header = RecordingsHeader {
        analysis: analysis.into(),
        ..RecordingsHeader::default()
    };
    let synchronous = goodwire_tests::client::parameters(&[("synchronous", "true")]);
    let header = RecordingsHeader {
        parameters: Some(synchronous),
        ..header
    };
    AnalyseRecordingsRequest {
        piece: Some(Piece::Header(header)),
    }
}

fn chunks(file: File, bytes: &[u8]) -> impl Iterator<Item = AnalyseRecordingsRequest> {
    bytes.chunks(256 << 10).map(move |data| {
        let chunk = RecordingChunk {
            file: file.into(),
            data: data.to_vec(),
        };
        AnalyseRecordingsRequest {
            piece: Some(Piece::Chunk(chunk)),
        }
    })
}

/// Uploads two recordings; the measurement is QUEUED.
pub async fn upload(
    client: &Client,
    analysis: &str,
    sent: &[u8],
    returned: &[u8],
) -> Result<Measurement, Status> {
    let pieces: Vec<_> = std::iter::once(header(analysis))
        .chain(chunks(File::Sent, sent))
        .chain(chunks(File::Returned, returned))
        .collect();
    let answer = client
        .measurements
        .clone()
        .analyse_recordings(tokio_stream::iter(pieces))
        .await?;
    Ok(answer.into_inner().measurement.expect("a measurement"))
}

#[tokio::test]
async fn a_stimulus_that_comes_back_unchanged_is_0_ms_late() {
    let daemon = Daemon::start(CELLAR);
    let client = daemon.connect().await;
    let sent = stimulus(&client, "latency").await;
    let asked = upload(&client, "latency", &sent, &sent).await.unwrap();
    let ended = client.end_of(&asked.name).await;
    assert_eq!(ended.state(), State::Succeeded, "{:?}", ended.reason);
    assert!(ended.recorded && !ended.simulated && ended.link.is_empty());
    assert!(
        value(&ended, "latency").abs() < 1e-4,
        "{} ms",
        value(&ended, "latency")
    );
}

#[tokio::test]
async fn an_upload_that_stops_half_way_leaves_nothing() {
    let daemon = Daemon::start(CELLAR);
    let client = daemon.connect().await;
    let sent = stimulus(&client, "latency").await;
    let before = files_in(&daemon);
    let (pieces, stream) = tokio::sync::mpsc::channel(4);
    let vanishing = daemon.connect().await;
    let mut measurements = vanishing.measurements.clone();
    let call = tokio::spawn(async move {
        measurements
            .analyse_recordings(ReceiverStream::new(stream))
            .await
    });
    pieces.send(header("latency")).await.unwrap();
    let half = &sent[..sent.len() / 2];
    for chunk in chunks(File::Sent, half) {
        pieces.send(chunk).await.unwrap();
    }
    eventually("the daemon takes it in", Duration::from_secs(5), || async {
        (files_in(&daemon) > before).then_some(())
    })
    .await;
    call.abort();
    drop(vanishing);
    drop(pieces);
    eventually("nothing is left", Duration::from_secs(5), || async {
        (files_in(&daemon) == before).then_some(())
    })
    .await;
    let all = ListMeasurementsRequest::default();
    let listed = client.measurements.clone().list_measurements(all).await;
    assert!(listed.unwrap().into_inner().measurements.is_empty());
    let whole = upload(&client, "latency", &sent, &sent).await.unwrap();
    assert_eq!(client.end_of(&whole.name).await.state(), State::Succeeded);
}

/// How many files lie in the state folder.
fn files_in(daemon: &Daemon) -> usize {
    fn count(folder: &std::path::Path) -> usize {
        let entries = fs::read_dir(folder).unwrap().filter_map(Result::ok);
        entries
            .map(|e| {
                if e.path().is_dir() {
                    count(&e.path())
                } else {
                    1
                }
            })
            .sum()
    }
    count(&daemon.state())
}

#[tokio::test]
async fn a_truncated_file_and_an_upload_without_files_are_refused() {
    let daemon = Daemon::start(CELLAR);
    let client = daemon.connect().await;
    let sent = stimulus(&client, "latency").await;
    let status = upload(&client, "latency", &sent, &[]).await.unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument);
    let status = upload(&client, "latency", &sent, b"Dear sound engineer")
        .await
        .unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument, "{status:?}");
    let status = upload(&client, "horoscope", &sent, &sent)
        .await
        .unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument, "{status:?}");
}

#[tokio::test]
async fn a_client_that_vanishes_takes_no_measurement_with_it() {
    let daemon = Daemon::start(&cellar_in_real_time());
    let vanishing = daemon.connect().await;
    let settings = [("duration_s", "1"), ("repeats", "1")];
    let asked = vanishing
        .ask(request("lectern", "response", &settings))
        .await
        .unwrap();
    let name = asked[0].name.clone();
    let watch = WatchMeasurementRequest { name: name.clone() };
    let watch = vanishing
        .measurements
        .clone()
        .watch_measurement(watch)
        .await
        .unwrap();
    drop((watch, vanishing));
    let client = daemon.connect().await;
    let ended = client.end_of(&name).await;
    assert_eq!(ended.state(), State::Succeeded, "{:?}", ended.reason);
}
