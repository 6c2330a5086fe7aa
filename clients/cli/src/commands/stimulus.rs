//! `goodwire stimulus`

use std::path::PathBuf;

use anyhow::{Context, bail};
use clap::Args;
use goodwire_proto::v1::{
    StimulusHeader, StreamStimulusRequest, StreamStimulusResponse, stream_stimulus_response::Piece,
};
use tonic::Streaming;

use crate::{
    connect::slow,
    exit::Exit,
    failure::Refusal,
    files, json,
    session::Session,
    values::{self, Setting},
    wav::WavWriter,
};

/// Which stimulus.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  goodwire stimulus response --rate 48000 --out sweep.wav --set level_dbfs=-20

The file is 32-bit float mono; what it was made with stands in its comment, so that
`goodwire analyse` needs no settings. Play it from the start, unchanged, at a low level first.")]
pub struct Stimulus {
    /// What will be measured: see `goodwire analyses`
    analysis: String,
    /// Sample rate, from 44100 to 192000
    #[arg(long, value_name = "HZ", allow_negative_numbers = true)]
    rate: i32,
    /// The WAV file to write
    #[arg(long, value_name = "FILE.wav")]
    out: PathBuf,
    /// Set a parameter; may be given several times
    #[arg(long, value_name = "NAME=VALUE")]
    set: Vec<Setting>,
}

/// Writes the stimulus of an analysis.
///
/// # Errors
/// Where it is refused, or the file cannot be written.
pub async fn run(session: &Session, arguments: Stimulus) -> anyhow::Result<Exit> {
    let request = StreamStimulusRequest {
        analysis: arguments.analysis,
        parameters: values::parameters(&arguments.set)?,
        rate_hz: arguments.rate,
    };
    let server = session.connect_or_start().await?;
    let mut pieces = server
        .analyses()
        .stream_stimulus(slow(request))
        .await
        .map_err(Refusal)?
        .into_inner();
    let header = header(&mut pieces).await?;
    let mut samples = Vec::new();
    while let Some(piece) = next(&mut pieces).await? {
        match piece {
            Piece::Samples(block) => samples.extend(block.samples),
            Piece::Header(_) => bail!("a second header came in the midst of the samples"),
        }
    }
    files::write_whole(&arguments.out, |file| {
        let mut wav = WavWriter::new(file, header.rate_hz, header.frame_count, &header.comment)?;
        wav.write(&samples)?;
        wav.finish()
    })?;
    let path = arguments.out.display();
    session.print(
        || json::message(&header),
        |_| {
            format!(
                "{path}: {:.2} s at {} Hz, peak {:.1} dBFS\n",
                f64::from(header.frame_count) / f64::from(header.rate_hz),
                header.rate_hz,
                header.peak_dbfs
            )
        },
    )?;
    Ok(Exit::Pass)
}

/// The first piece of the stream.
async fn header(pieces: &mut Streaming<StreamStimulusResponse>) -> anyhow::Result<StimulusHeader> {
    match next(pieces).await?.context("the stream was empty")? {
        Piece::Header(header) if header.rate_hz > 0 => Ok(header),
        _ => bail!("the stream did not begin with a header"),
    }
}

/// The next piece; `None` at the end.
async fn next(pieces: &mut Streaming<StreamStimulusResponse>) -> Result<Option<Piece>, Refusal> {
    Ok(pieces.message().await?.and_then(|message| message.piece))
}
