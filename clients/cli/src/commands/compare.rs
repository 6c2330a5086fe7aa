//! `goodwire compare`

use clap::Args;
use goodwire_proto::v1::CompareMeasurementsRequest;

use crate::{
    connect::quick, exit::Exit, failure::Refusal, json, session::Session, show::comparison as view,
};

/// Which measurements.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  goodwire compare 019ab0c3-0000-7000-8000-000000000000 019ab0c4-0000-7000-8000-000000000000

The first is what the others are compared with. Exits with the worst of their verdicts.")]
pub struct Compare {
    /// Two or more measurements, with or without `measurements/`
    #[arg(required = true, value_name = "MEASUREMENT")]
    measurements: Vec<String>,
}

/// Prints measurements side by side.
///
/// # Errors
/// Where one of them is not there.
pub async fn run(session: &Session, arguments: Compare) -> anyhow::Result<Exit> {
    let server = session.connect().await?;
    let request = CompareMeasurementsRequest {
        names: arguments.measurements,
    };
    let comparison = server
        .measurements()
        .compare_measurements(quick(request))
        .await
        .map_err(Refusal)?
        .into_inner();
    session.print(
        || json::message(&comparison),
        |look| view::render(look, &comparison),
    )?;
    Ok(Exit::worst(&comparison.measurements))
}
