//! `goodwire show`

use clap::Args;
use goodwire_proto::v1::{GetMeasurementRequest, Measurement};

use crate::{
    connect::{Connection, quick},
    exit::Exit,
    failure::Refusal,
    json,
    session::Session,
    show::measurement as view,
};

/// Which measurement.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  goodwire show 019ab0c3-0000-7000-8000-000000000000")]
pub struct Show {
    /// The measurement's name, with or without `measurements/`
    measurement: String,
}

/// Prints one measurement with all its figures.
///
/// # Errors
/// Where there is none of that name.
pub async fn run(session: &Session, arguments: Show) -> anyhow::Result<Exit> {
    let server = session.connect().await?;
    let measurement = get(&server, arguments.measurement).await?;
    session.print(
        || json::message(&measurement),
        |look| view::render(look, &measurement),
    )?;
    Ok(Exit::of(&measurement))
}

/// Gets one measurement.
///
/// # Errors
/// Where there is none of that name.
pub async fn get(connection: &Connection, name: String) -> Result<Measurement, Refusal> {
    let request = quick(GetMeasurementRequest { name });
    let mut client = connection.measurements();
    Ok(client.get_measurement(request).await?.into_inner())
}
