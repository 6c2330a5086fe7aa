//! `goodwire mark`

use anyhow::bail;
use clap::Args;
use goodwire_proto::v1::{
    ListMeasurementsRequest, MarkMeasurementRequest, MarkMeasurementResponse, Measurement,
    measurement::State,
};
use uuid::Uuid;

use crate::{
    connect::{Connection, quick},
    exit::Exit,
    failure::Refusal,
    json,
    marks::Mark,
    session::Session,
};

/// Among so many of the newest measurements a running one is looked for.
const NEWEST: i32 = 100;

/// Where somebody stands just now.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  goodwire mark --metres 12 --label \"by the bar\"
  goodwire mark 019ab0c3-0000-7000-8000-000000000000 --feet 40

The mark is set at this moment of the sound. While you walk: watch where you walk, keep clear of
vehicles and stairs, ask before you walk through other people's rooms.")]
pub struct MarkOf {
    /// The watch that runs, with or without `measurements/`; may be left out where only one runs
    measurement: Option<String>,
    /// How far from the receiver, in metres
    #[arg(
        long,
        value_name = "N",
        conflicts_with = "feet",
        allow_negative_numbers = true
    )]
    metres: Option<f64>,
    /// How far from the receiver, in feet
    #[arg(long, value_name = "N", allow_negative_numbers = true)]
    feet: Option<f64>,
    /// What is there, in your own words
    #[arg(long, value_name = "TEXT", default_value = "")]
    label: String,
}

/// Sets a mark in a running watch.
///
/// # Errors
/// Where no watch runs, or the distance is none.
pub async fn run(session: &Session, arguments: MarkOf) -> anyhow::Result<Exit> {
    let mark = Mark::new(arguments.metres, arguments.feet, arguments.label)?;
    let server = session.connect().await?;
    let name = match arguments.measurement {
        Some(name) => name,
        None => the_running(&server).await?,
    };
    let set = set(&server, &name, &mark).await?;
    session.print(
        || json::message(&set),
        |_| format!("{}\n", words(&set, &mark)),
    )?;
    Ok(Exit::Pass)
}

/// `marked at 12.4 s: 8 m, bar`
pub fn words(set: &MarkMeasurementResponse, mark: &Mark) -> String {
    format!("marked at {:.1} s: {}", set.start_s, mark.words())
}

/// Sets a mark; gives its time in the watch.
///
/// # Errors
/// Where the server refuses.
pub async fn set(
    connection: &Connection,
    name: &str,
    mark: &Mark,
) -> Result<MarkMeasurementResponse, Refusal> {
    let request = MarkMeasurementRequest {
        name: name.to_owned(),
        metres: mark.metres,
        label: mark.label.clone(),
        request_id: Uuid::now_v7().to_string(),
    };
    let set = connection.watches().mark_measurement(quick(request)).await;
    Ok(set?.into_inner())
}

/// The name of the one measurement that runs.
///
/// # Errors
/// Where none runs, or several do.
pub async fn the_running(connection: &Connection) -> anyhow::Result<String> {
    let request = ListMeasurementsRequest {
        page_size: NEWEST,
        ..ListMeasurementsRequest::default()
    };
    let list = connection
        .measurements()
        .list_measurements(quick(request))
        .await;
    let list = list.map_err(Refusal)?.into_inner().measurements;
    let running: Vec<&Measurement> = list
        .iter()
        .filter(|one| one.state() == State::Running)
        .collect();
    match running.as_slice() {
        [only] => Ok(only.name.clone()),
        [] => bail!("nothing runs just now: start one with `goodwire walk LINK`"),
        several => {
            let lines = several
                .iter()
                .map(|one| format!("\n  {}  {}", one.name, one.link));
            bail!("several run; say which:{}", lines.collect::<String>())
        }
    }
}
