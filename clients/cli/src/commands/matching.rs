//! `goodwire match`

use clap::Args;
use goodwire_proto::v1::{MeasureRequest, measurement::State};
use uuid::Uuid;

use super::measure;
use crate::{exit::Exit, json, output, session::Session, show::measurement as view, values, watch};

/// Which link's paths.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  goodwire match lectern --present

Put a plain cable in the link's place first: what differs then lies in the two paths, not in
the link, and is divided out of all later results. Plays sound: mute the PA, tell people.")]
pub struct Match {
    /// The link in whose place the cable stands; several separated by commas, or `all`
    #[arg(value_name = "LINK")]
    links: String,
    /// You are in the room, it is clear, and sound may be played now
    #[arg(long)]
    present: bool,
}

/// Measures the two paths' own difference.
///
/// # Errors
/// Where it is refused, or the server stays away.
pub async fn run(session: &Session, arguments: Match) -> anyhow::Result<Exit> {
    let request = MeasureRequest {
        links: values::links(&arguments.links)?,
        analysis: "response".into(),
        request_id: Uuid::now_v7().to_string(),
        present: arguments.present,
        r#match: true,
        ..MeasureRequest::default()
    };
    let several = request.links.len() > 1 || request.links == ["all"];
    let server = session.connect().await?;
    let started = measure::ask(&server, request).await?;
    let followed = watch::follow_all(session, &server, &started).await?;
    let measurements = &followed.measurements;
    session.print(
        || match measurements.as_slice() {
            [only] if !several => json::message(only),
            all => json::list("measurements", all),
        },
        |look| view::render_several(look, measurements),
    )?;
    let done = measurements.iter().all(|m| m.state() == State::Succeeded);
    if done && followed.signal.is_none() {
        output::say("matched: this difference is divided out from now on");
    }
    Ok(followed.signal.unwrap_or_else(|| Exit::done(done)))
}
