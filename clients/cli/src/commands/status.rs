//! `goodwire status`

use goodwire_proto::v1::GetStatusRequest;

use crate::{
    connect::quick, exit::Exit, failure::Refusal, json, session::Session, show::status as view,
};

/// Prints the state of daemon, interface, rig and plugins.
///
/// # Errors
/// Where nobody answers.
pub async fn run(session: &Session) -> anyhow::Result<Exit> {
    let server = session.connect().await?;
    let status = server
        .rig()
        .get_status(quick(GetStatusRequest {}))
        .await
        .map_err(Refusal)?
        .into_inner();
    session.print(
        || json::message(&status),
        |look| view::render(look, &status),
    )?;
    Ok(Exit::Pass)
}
