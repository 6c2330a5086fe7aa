//! `goodwire wiring`

use clap::Args;
use goodwire_proto::v1::CheckWiringRequest;
use tonic::Request;

use crate::{
    commands::measure, connect::Connection, exit::Exit, failure::Refusal, json, output,
    session::Session, show::wiring as view,
};

/// Whether somebody is there.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  goodwire wiring --present

Every send plays a quiet noise of its own, all at once: from -80 dBFS up in steps of 10 dB until each
return hears what it should and nothing new appears, never above the sends' ceilings nor nearer than
20 dB to the lowest clip point that is known. A level takes 5 s. Then it is told which return hears
which send, which pairs are crossed, missing or shorted, and where the polarity is swapped.

Mute the PA and the in-ear mixes, and tell the people in the room: what is plugged in wrongly may
come out anywhere. Ctrl-C ends it.

Ends with 0 where all is as the configuration says, else with 3.")]
pub struct Wiring {
    /// You are in the room, and sound may be played now
    #[arg(long)]
    present: bool,
}

/// Checks the wiring.
///
/// # Errors
/// What forbids it, or what went wrong.
pub async fn run(session: &Session, arguments: Wiring) -> anyhow::Result<Exit> {
    let server = session.connect().await?;
    let wiring = match check(&server, arguments.present).await {
        Err(refusal) if !arguments.present => {
            measure::agree_to_play(refusal).await?;
            check(&server, true).await
        }
        checked => checked,
    };
    let wiring = wiring.map_err(Refusal)?;
    session.print(
        || Ok(with_lists(json::message(&wiring)?)),
        |look| view::render(look, &wiring),
    )?;
    Ok(Exit::done(wiring.faults.is_empty()))
}

/// One check. It has no deadline: it waits for its turn, and whoever ends the command ends it.
async fn check(
    server: &Connection,
    present: bool,
) -> Result<goodwire_proto::v1::Wiring, tonic::Status> {
    output::say("listens to the room, then plays quiet noise on every send");
    let request = Request::new(CheckWiringRequest { present });
    Ok(server.wiring().check_wiring(request).await?.into_inner())
}

/// An empty list still prints its key.
fn with_lists(mut document: serde_json::Value) -> serde_json::Value {
    for list in ["pairs", "faults"] {
        if document.get(list).is_none() {
            document[list] = serde_json::json!([]);
        }
    }
    document
}
