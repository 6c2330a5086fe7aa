//! `goodwire hold`, `release`, `stop`

use clap::Args;
use goodwire_proto::v1::{HoldRequest, ReleaseRequest, StopRequest};

use crate::{connect::quick, exit::Exit, failure::Refusal, json, session::Session};

/// Why nothing may be played.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  goodwire hold --reason \"sound check until 18:00\"")]
pub struct Hold {
    /// For whoever finds the daemon held
    #[arg(long, value_name = "TEXT", default_value = "")]
    reason: String,
}

/// Ends what plays and plays nothing until release.
///
/// # Errors
/// Where nobody answers.
pub async fn hold(session: &Session, arguments: Hold) -> anyhow::Result<Exit> {
    let server = session.connect().await?;
    let request = HoldRequest {
        text: arguments.reason,
    };
    let held = server.rig().hold(quick(request)).await;
    let held = held.map_err(Refusal)?.into_inner();
    session.print(
        || json::message(&held),
        |_| {
            let ended = count(held.ended_count, "measurement was", "measurements were");
            format!("held: nothing plays until `goodwire release`; {ended} ended\n")
        },
    )?;
    Ok(Exit::Pass)
}

/// Ends a hold.
///
/// # Errors
/// Where nobody answers.
pub async fn release(session: &Session) -> anyhow::Result<Exit> {
    let server = session.connect().await?;
    let released = server.rig().release(quick(ReleaseRequest {})).await;
    let released = released.map_err(Refusal)?.into_inner();
    session.print(
        || json::message(&released),
        |_| match released.was_held {
            true => "released: sound may be played again\n".into(),
            false => "there was no hold\n".into(),
        },
    )?;
    Ok(Exit::Pass)
}

/// Cancels everything queued and running.
///
/// # Errors
/// Where nobody answers: then nobody has been stopped either.
pub async fn stop(session: &Session) -> anyhow::Result<Exit> {
    let server = session.connect().await?;
    let stopped = server.rig().stop(quick(StopRequest {})).await;
    let stopped = stopped.map_err(Refusal)?.into_inner();
    session.print(
        || json::message(&stopped),
        |_| {
            let cancelled = count(stopped.cancelled_count, "measurement", "measurements");
            format!(
                "silent after {:.1} ms; {cancelled} cancelled\n",
                stopped.silent_after_ms
            )
        },
    )?;
    Ok(Exit::Pass)
}

/// `1 measurement`, `2 measurements`.
fn count(count: i32, one: &str, several: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { several })
}
