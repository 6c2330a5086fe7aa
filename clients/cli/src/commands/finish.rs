//! `goodwire finish`

use clap::Args;
use goodwire_proto::v1::{FinishMeasurementRequest, Measurement};

use super::mark;
use crate::{
    connect::{Connection, slow},
    exit::Exit,
    failure::Refusal,
    json,
    session::Session,
    show::measurement as view,
};

/// Which watch.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  goodwire finish 019ab0c3-0000-7000-8000-000000000000

`goodwire stop` throws away what was seen so far; this keeps it.")]
pub struct Finish {
    /// The watch that runs, with or without `measurements/`; may be left out where only one runs
    measurement: Option<String>,
}

/// Ends a watch, and prints what it saw.
///
/// # Errors
/// Where it is no watch, or none runs.
pub async fn run(session: &Session, arguments: Finish) -> anyhow::Result<Exit> {
    let server = session.connect().await?;
    let name = match arguments.measurement {
        Some(name) => name,
        None => mark::the_running(&server).await?,
    };
    let measurement = end(&server, name).await?;
    session.print(
        || json::message(&measurement),
        |look| view::render(look, &measurement),
    )?;
    Ok(Exit::Pass)
}

/// Ends a watch; gives it with its result.
///
/// # Errors
/// Where the server refuses.
pub async fn end(connection: &Connection, name: String) -> Result<Measurement, Refusal> {
    let request = slow(FinishMeasurementRequest { name });
    Ok(connection
        .watches()
        .finish_measurement(request)
        .await?
        .into_inner())
}
