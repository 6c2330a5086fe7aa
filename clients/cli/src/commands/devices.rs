//! `goodwire devices`

use clap::Args;
use goodwire_proto::v1::ListDevicesRequest;

use crate::{
    connect::slow, exit::Exit, failure::Refusal, json, session::Session, show::devices as view,
};

/// What to list.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  goodwire devices")]
pub struct Devices {
    /// List virtual devices too; they may resample, mix or scale
    #[arg(long)]
    all: bool,
}

/// Prints what the audio back ends can see.
///
/// A private daemon answers where none runs: who writes a first configuration needs the ids.
///
/// # Errors
/// Where nobody answers and none can be started.
pub async fn run(session: &Session, arguments: Devices) -> anyhow::Result<Exit> {
    let server = session.connect_or_start().await?;
    let request = ListDevicesRequest {
        include_virtual: arguments.all,
    };
    let found = server
        .rig()
        .list_devices(slow(request))
        .await
        .map_err(Refusal)?
        .into_inner();
    session.print(
        || {
            let mut document = json::list("devices", &found.devices)?;
            if !found.notes.is_empty() {
                document["notes"] = json::list("notes", &found.notes)?["notes"].take();
            }
            Ok(document)
        },
        |look| view::render(look, &found.devices, &found.notes),
    )?;
    Ok(Exit::Pass)
}
