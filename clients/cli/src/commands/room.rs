//! `goodwire hold`, `release`, `permit`, `stop`

use clap::Args;
use goodwire_proto::v1::{
    HoldRequest, PermitRequest, ReleaseRequest, StopRequest, WithdrawPermitRequest,
};

use crate::{
    connect::quick, exit::Exit, failure::Refusal, json, session::Session, show::time, values::Until,
};

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

/// Until when sound may be played with nobody present.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  goodwire permit --until 6h --reason \"locked up, key 3\"
  goodwire permit --withdraw

A permit counts no longer than `safety.permit_hours` of the configuration, whatever it says; where
that is not set, none is needed. A hold beats every permit. See that the room is empty first.")]
pub struct Permit {
    /// Until when: a time, or from now on as 90min, 6h, 1d
    #[arg(long, value_name = "TIME")]
    until: Option<Until>,
    /// Who gives it and why
    #[arg(long, value_name = "TEXT", default_value = "")]
    reason: String,
    /// Take the permit back
    #[arg(long, conflicts_with_all = ["until", "reason"])]
    withdraw: bool,
}

/// Gives a permit, or takes it back.
///
/// # Errors
/// Where nobody answers, or the time has passed.
pub async fn permit(session: &Session, arguments: Permit) -> anyhow::Result<Exit> {
    let server = session.connect().await?;
    if arguments.withdraw {
        let request = quick(WithdrawPermitRequest {});
        let withdrawn = server.rig().withdraw_permit(request).await;
        let withdrawn = withdrawn.map_err(Refusal)?.into_inner();
        session.print(
            || json::message(&withdrawn),
            |_| match withdrawn.was_permitted {
                true => "withdrawn: nothing is played with nobody present\n".into(),
                false => "there was no permit\n".into(),
            },
        )?;
        return Ok(Exit::Pass);
    }
    let request = PermitRequest {
        until_time: arguments.until.map(|until| until.0),
        text: arguments.reason,
    };
    let given = server.rig().permit(quick(request)).await;
    let given = given.map_err(Refusal)?.into_inner();
    session.print(
        || json::message(&given),
        |_| match &given.until_time {
            Some(until) => format!("permitted until {}\n", time::full(Some(until))),
            None => "permitted; this rig needs no permit (safety.permit_hours)\n".into(),
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
