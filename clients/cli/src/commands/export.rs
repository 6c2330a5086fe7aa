//! `goodwire export`

mod csv;
mod sounds;

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use goodwire_proto::v1::Measurement;
use serde_json::json;

use super::show_one;
use crate::{exit::Exit, files, json, session::Session};

/// What the files are.
#[derive(Debug, Clone, Copy, ValueEnum)]
pub enum Format {
    /// Comma-separated tables: figures in the file itself, each curve in a file beside it
    Csv,
    /// The whole measurement in one file
    Json,
    /// What can be listened to: each sound in a file of its own, 32-bit float mono
    Wav,
}

/// Which measurement, and where to.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  goodwire export 019ab0c3-0000-7000-8000-000000000000 --format csv --out lectern.csv
  goodwire export 019ab0c3-0000-7000-8000-000000000000 --format json --out lectern.json

CSV (RFC 4180) is one table a file: lectern.csv has the figures (id, at, value, uncertainty, low,
high, unit), lectern-magnitude.csv the curve of that name, lectern-events.csv what happened.

WAV of a null test: lectern-link.wav, lectern-reference.wav and lectern-difference.wav, aligned and
of one length. The difference is as quiet as the null is deep: turn it up with care, and down again.")]
pub struct Export {
    /// The measurement's name, with or without `measurements/`
    measurement: String,
    /// What to write
    #[arg(long)]
    format: Format,
    /// Where to
    #[arg(long, value_name = "PATH")]
    out: PathBuf,
}

/// Writes a measurement to files.
///
/// # Errors
/// Where there is none of that name, or a file cannot be written.
pub async fn run(session: &Session, arguments: Export) -> anyhow::Result<Exit> {
    let server = session.connect().await?;
    let measurement = show_one::get(&server, arguments.measurement).await?;
    let written = match arguments.format {
        Format::Wav => sounds::write(&server, &measurement, &arguments.out).await?,
        Format::Csv => write_csv(&measurement, &arguments.out)?,
        Format::Json => write_json(&measurement, &arguments.out)?,
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
