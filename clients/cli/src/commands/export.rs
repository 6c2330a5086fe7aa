//! `goodwire export`

mod csv;
mod junit;
mod sounds;

use std::path::{Path, PathBuf};

use anyhow::bail;
use clap::{Args, ValueEnum};
use goodwire_proto::v1::{GetRunRequest, Measurement, Run};
use serde_json::json;

use super::show_one;
use crate::{
    connect::{Connection, quick},
    exit::Exit,
    failure::Refusal,
    files, json,
    session::Session,
};

/// What the files are.
#[derive(Debug, Clone, Copy, ValueEnum)]
pub enum Format {
    /// Comma-separated tables: figures in the file itself, each curve in a file beside it
    Csv,
    /// The whole measurement in one file
    Json,
    /// What can be listened to: each sound in a file of its own, 32-bit float mono
    Wav,
    /// A run as JUnit XML: a suite a link, a case a check
    Junit,
}

/// Which measurement or run, and where to.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  goodwire export 019ab0c3-0000-7000-8000-000000000000 --format csv --out lectern.csv
  goodwire export 019ab0c3-0000-7000-8000-000000000000 --format json --out lectern.json
  goodwire export runs/019ab0c3-0000-7000-8000-000000000000 --format junit --out tonight.xml

CSV (RFC 4180) is one table a file: lectern.csv has the figures (id, at, value, uncertainty, low,
high, unit), lectern-magnitude.csv the curve of that name, lectern-events.csv what happened.

WAV of a null test: lectern-link.wav, lectern-reference.wav and lectern-difference.wav, aligned and
of one length. The difference is as quiet as the null is deep: turn it up with care, and down again.

CSV of a run: tonight.csv has its checks (link, analysis, verdict, reason, text, measurement), and
tonight-figures.csv every figure of every measurement. JUnit XML: a broken limit or drift is a
failure, what could not be measured an error, a link that is away skipped.")]
pub struct Export {
    /// A measurement, with or without `measurements/`; or a run, `runs/…`
    name: String,
    /// What to write
    #[arg(long)]
    format: Format,
    /// Where to
    #[arg(long, value_name = "PATH")]
    out: PathBuf,
}

/// Writes a measurement or a run to files.
///
/// # Errors
/// Where there is none of that name, it has no such form, or a file cannot be written.
pub async fn run(session: &Session, arguments: Export) -> anyhow::Result<Exit> {
    let server = session.connect().await?;
    let written = if arguments.name.starts_with("runs/") {
        export_run(&server, &arguments).await?
    } else {
        export_measurement(&server, &arguments).await?
    };
    let names: Vec<_> = written
        .iter()
        .map(|path| path.display().to_string())
        .collect();
    session.print(
        || Ok(json!({ "files": names })),
        |_| names.iter().map(|name| format!("{name}\n")).collect(),
    )?;
    Ok(Exit::Pass)
}

async fn export_measurement(
    server: &Connection,
    arguments: &Export,
) -> anyhow::Result<Vec<PathBuf>> {
    let measurement = show_one::get(server, arguments.name.clone()).await?;
    match arguments.format {
        Format::Wav => sounds::write(server, &measurement, &arguments.out).await,
        Format::Csv => write_csv(&measurement, &arguments.out),
        Format::Json => write_json(&measurement, &arguments.out),
        Format::Junit => bail!("JUnit XML is a form of runs alone: write runs/… for a run"),
    }
}

async fn export_run(server: &Connection, arguments: &Export) -> anyhow::Result<Vec<PathBuf>> {
    let request = quick(GetRunRequest {
        name: arguments.name.clone(),
    });
    let run = server.rounds().get_run(request).await;
    let run = run.map_err(Refusal)?.into_inner();
    let out = arguments.out.clone();
    write_all(match arguments.format {
        Format::Wav => bail!("a run has no sounds; a null test among its measurements has"),
        Format::Junit => vec![(out, junit::document(&run)?)],
        Format::Json => vec![(out, json::document(&json::message(&run)?))],
        Format::Csv => {
            let measured = measurements_of(server, &run).await?;
            csv::run_tables(&run, &measured, &out)
        }
    })
}

/// The measurements of a run, as far as it could ask for them.
async fn measurements_of(server: &Connection, run: &Run) -> Result<Vec<Measurement>, Refusal> {
    let mut measured = Vec::new();
    for check in run.checks.iter().filter(|one| !one.measurement.is_empty()) {
        measured.push(show_one::get(server, check.measurement.clone()).await?);
    }
    Ok(measured)
}

/// Writes one measurement as JSON; gives the file's path.
///
/// # Errors
/// Where the file cannot be written.
pub fn write_json(measurement: &Measurement, out: &Path) -> anyhow::Result<Vec<PathBuf>> {
    write_all(vec![(
        out.to_owned(),
        json::document(&json::message(measurement)?),
    )])
}

/// Writes one measurement as tables; gives the files' paths.
///
/// # Errors
/// Where a file cannot be written.
pub fn write_csv(measurement: &Measurement, out: &Path) -> anyhow::Result<Vec<PathBuf>> {
    write_all(csv::tables(measurement, out))
}

fn write_all(texts: Vec<(PathBuf, String)>) -> anyhow::Result<Vec<PathBuf>> {
    for (path, text) in &texts {
        files::write_text(path, text)?;
    }
    Ok(texts.into_iter().map(|(path, _)| path).collect())
}
