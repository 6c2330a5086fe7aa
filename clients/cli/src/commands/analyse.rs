//! `goodwire analyse`

mod upload;

use std::{fs, path::Path, path::PathBuf};

use anyhow::{Context, bail, ensure};
use clap::Args;
use goodwire_proto::v1::{Measurement, RecordingMark, RecordingsHeader, recording_chunk::File};
use uuid::Uuid;

use crate::{
    exit::Exit,
    json, marks, output,
    session::Session,
    show::measurement as view,
    values::{self, FileChannel, Setting},
    watch,
};
use upload::Upload;

/// Which recordings, and what to find in them.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  goodwire analyse response --sent sweep.wav --returned walk.wav:1 --reference walk.wav:2
  goodwire analyse level --sent steps.wav --returned foyer.flac

WAV (16, 24, 32 bit, float) and FLAC, 44.1 to 192 kHz; channels count from 1.
`--sent` is the file that `goodwire stimulus` wrote: the parameters are read from it.")]
pub struct Analyse {
    /// What to find: see `goodwire analyses`
    analysis: String,
    /// What was played: the file that `stimulus` wrote; needless where nothing was (pilot=none)
    #[arg(long, value_name = "FILE")]
    sent: Option<PathBuf>,
    /// What the link returned
    #[arg(long, value_name = "FILE[:CH]")]
    returned: FileChannel,
    /// What the cable beside it returned, recorded together with it
    #[arg(long, value_name = "FILE[:CH]")]
    reference: Option<FileChannel>,
    /// A match to divide out: a measurement of this daemon, or one exported as JSON
    #[arg(long, value_name = "MEASUREMENT|FILE.json")]
    r#match: Option<String>,
    /// Where somebody stood when: `seconds,metres,label`
    #[arg(long, value_name = "FILE.csv")]
    marks: Option<PathBuf>,
    /// The link whose setup and limits apply
    #[arg(long)]
    link: Option<String>,
    /// Set a parameter; may be given several times
    #[arg(long, value_name = "NAME=VALUE")]
    set: Vec<Setting>,
}

/// Analyses recordings and prints what was found.
///
/// # Errors
/// Where a file is missing, or what the server refuses.
pub async fn run(session: &Session, arguments: Analyse) -> anyhow::Result<Exit> {
    // Everything about the files is checked before anybody is contacted.
    let upload = prepare(&arguments)?;
    let server = if needs_store(&upload.header) {
        session.connect().await?
    } else {
        session.connect_or_start().await?
    };
    if server.is_private() {
        output::say("no goodwired is running: a private one analyses this and keeps nothing");
    }
    let started = upload.send(&server).await?;
    let followed = watch::follow_all(session, &server, &[started]).await?;
    if let [measurement] = followed.measurements.as_slice() {
        print(session, measurement)?;
    }
    Ok(followed
        .signal
        .unwrap_or_else(|| Exit::worst(&followed.measurements)))
}

/// True where the request names what only the user's own daemon can know.
fn needs_store(header: &RecordingsHeader) -> bool {
    !header.link.is_empty() || !header.r#match.is_empty()
}

fn print(session: &Session, measurement: &Measurement) -> anyhow::Result<()> {
    session.print(
        || json::message(measurement),
        |look| view::render(look, measurement),
    )
}

/// Checks files and values and makes the header.
fn prepare(arguments: &Analyse) -> anyhow::Result<Upload> {
    let returned = check(&arguments.returned.path)?;
    let mut files = vec![(File::Returned, returned.clone())];
    if let Some(sent) = &arguments.sent {
        files.insert(0, (File::Sent, check(sent)?));
    }
    let mut header = RecordingsHeader {
        analysis: arguments.analysis.clone(),
        parameters: values::parameters(&arguments.set)?,
        returned_channel: arguments.returned.channel,
        request_id: Uuid::now_v7().to_string(),
        link: arguments.link.clone().unwrap_or_default(),
        marks: marks(arguments.marks.as_deref())?,
        ..RecordingsHeader::default()
    };
    if let Some(reference) = &arguments.reference {
        let path = check(&reference.path)?;
        header.reference_channel = reference.channel;
        // A file of both channels is sent once.
        header.reference_in_returned = fs::canonicalize(&path)? == fs::canonicalize(&returned)?;
        if !header.reference_in_returned {
            files.push((File::Reference, path));
        }
    }
    if let Some(text) = &arguments.r#match {
        set_match(&mut header, text)?;
    }
    header.file_names = files
        .iter()
        .map(|(_, path)| path.display().to_string())
        .collect();
    Ok(Upload { header, files })
}

/// A file that is there, is a file, and has something in it.
fn check(path: &Path) -> anyhow::Result<PathBuf> {
    let name = path.display();
    let about = fs::metadata(path).with_context(|| format!("{name} cannot be read"))?;
    ensure!(about.is_file(), "{name} is no file");
    ensure!(about.len() > 0, "{name} is empty");
    fs::File::open(path).with_context(|| format!("{name} cannot be read"))?;
    Ok(path.to_owned())
}

fn marks(path: Option<&Path>) -> anyhow::Result<Vec<RecordingMark>> {
    let Some(path) = path else {
        return Ok(Vec::new());
    };
    let name = || format!("{}", path.display());
    let text = fs::read_to_string(path).with_context(|| format!("{} cannot be read", name()))?;
    let marks = marks::file(&text).with_context(name)?;
    Ok(marks
        .into_iter()
        .map(|(start_s, mark)| RecordingMark {
            start_s: Some(start_s),
            metres: mark.metres,
            label: mark.label,
        })
        .collect())
}

/// A match is a file of JSON where one of that name is there or meant, else a measurement.
fn set_match(header: &mut RecordingsHeader, text: &str) -> anyhow::Result<()> {
    let path = Path::new(text);
    if !path.exists() && path.extension().is_none_or(|extension| extension != "json") {
        text.clone_into(&mut header.r#match);
        return Ok(());
    }
    let json = fs::read_to_string(path).with_context(|| format!("{text} cannot be read"))?;
    if let Err(error) = serde_json::from_str::<serde_json::Value>(&json) {
        bail!("{text} is no JSON: {error}");
    }
    header.match_json = json;
    Ok(())
}
