//! `goodwire positions`

mod advice;

use clap::Args;
use goodwire_proto::v1::{
    CompareMeasurementsRequest, CompareMeasurementsResponse, MeasureRequest, Measurement,
    measurement::State,
};
use serde_json::json;
use uuid::Uuid;

use super::measure;
use crate::{
    by_hand,
    connect::{Connection, quick},
    exit::Exit,
    failure::Refusal,
    json,
    session::Session,
    show::comparison,
    values::Positions,
    watch,
};

/// Which link, and which positions of which switch.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  goodwire positions lectern input=line,mic --source-dbfs -20
  goodwire positions lectern input=line,pad,mic --source-dbu 4 --present

Measures `level` once for each position of a switch, waits between them until you have moved it,
and puts them side by side: where each overloads, and which suits the source. The source's level is
that of its loudest peaks, at the send or, where the send is calibrated, in dBu.
Plays sound at rising levels: mute the PA and in-ear mixes, tell people.")]
pub struct PositionsOf {
    /// The link
    link: String,
    /// The switch and its positions, by the names that the setup uses
    #[arg(value_name = "SWITCH=ONE,OTHER[,...]")]
    positions: Positions,
    /// Loudest peaks of the source, in dBFS at the send
    #[arg(long, value_name = "DBFS", allow_negative_numbers = true)]
    source_dbfs: Option<f64>,
    /// Loudest peaks of the source, in dBu at the link; the send has to be calibrated
    #[arg(
        long,
        value_name = "DBU",
        allow_negative_numbers = true,
        conflicts_with = "source_dbfs"
    )]
    source_dbu: Option<f64>,
    /// You are in the room, it is clear, and sound may be played now
    #[arg(long)]
    present: bool,
}

/// Measures every position and says which suits the source.
///
/// # Errors
/// Where it is refused, nobody moves the switch, or the server stays away.
pub async fn run(session: &Session, arguments: PositionsOf) -> anyhow::Result<Exit> {
    let server = session.connect().await?;
    let mut measured: Vec<Measurement> = Vec::new();
    for position in &arguments.positions.names {
        let switch = &arguments.positions.switch;
        let link = &arguments.link;
        by_hand::done(&format!("set `{switch}` of {link} to `{position}`")).await?;
        let started = measure::ask(&server, request(&arguments, position)).await?;
        let followed = watch::follow_all(session, &server, &started).await?;
        if let Some(signal) = followed.signal {
            return Ok(signal);
        }
        measured.extend(followed.measurements);
    }
    let comparison = compare(&server, &measured).await?;
    let source = advice::Source::of(arguments.source_dbfs, arguments.source_dbu);
    let told = advice::tell(&arguments.positions, &measured, source);
    session.print(
        || {
            Ok(json!({
                "comparison": json::message(&comparison)?,
                "advice": told,
            }))
        },
        |look| {
            let lines = told.iter().map(|line| look.wrap("- ", line));
            let advice: String = lines.collect();
            comparison::render(look, &comparison) + &look.heading("Which position") + &advice
        },
    )?;
    let done = measured.iter().all(|m| m.state() == State::Succeeded);
    Ok(Exit::done(done))
}

fn request(arguments: &PositionsOf, position: &str) -> MeasureRequest {
    MeasureRequest {
        links: vec![arguments.link.clone()],
        analysis: "level".into(),
        request_id: Uuid::now_v7().to_string(),
        present: arguments.present,
        setup: [(arguments.positions.switch.clone(), position.to_owned())].into(),
        ..MeasureRequest::default()
    }
}

async fn compare(
    server: &Connection,
    measured: &[Measurement],
) -> Result<CompareMeasurementsResponse, Refusal> {
    let request = CompareMeasurementsRequest {
        names: measured.iter().map(|one| one.name.clone()).collect(),
    };
    let mut client = server.measurements();
    Ok(client
        .compare_measurements(quick(request))
        .await?
        .into_inner())
}
