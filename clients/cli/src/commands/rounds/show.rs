//! `goodwire rounds show`

use std::time::SystemTime;

use clap::Args;
use goodwire_proto::v1::{GetRunRequest, ListRunsRequest, Run, run::State};

use super::exit_of;
use crate::{
    connect::{Connection, quick},
    exit::Exit,
    failure::Refusal,
    output,
    session::Session,
    show::monitor,
    values::Since,
};

/// So many runs are looked through for one that has ended.
const LOOKED_THROUGH: i32 = 500;

/// Which run, and how it is shown.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  goodwire rounds show 019ab0c3-0000-7000-8000-000000000000
  goodwire rounds show --last --round nightly
  goodwire rounds show --last --line --within 26h

--line is for monitoring systems that run a command: one line of the monitoring-plugin convention,
with the same exit code as without. It says UNKNOWN, and exits with 3, where no goodwired answers
or the last run ended before --within.")]
pub struct Show {
    /// The run's name, with or without `runs/`
    #[arg(required_unless_present = "last", conflicts_with = "last")]
    run: Option<String>,
    /// The run that ended, or was missed, last
    #[arg(long)]
    last: bool,
    /// With --last: of this round
    #[arg(long, value_name = "NAME", requires = "last", default_value = "")]
    round: String,
    /// One line for a monitoring system
    #[arg(long, conflicts_with = "json")]
    line: bool,
    /// A run that ended earlier says nothing any more: 26h, 7d, or a time
    #[arg(long, value_name = "AGE", requires = "line")]
    within: Option<Since>,
}

/// Shows a run.
///
/// # Errors
/// Where there is none; with `--line` that is told in the line.
pub async fn run(session: &Session, arguments: Show) -> anyhow::Result<Exit> {
    let found = find(session, &arguments).await;
    if !arguments.line {
        let run = found?;
        super::print(session, &run)?;
        return Ok(exit_of(&run));
    }
    match found {
        Ok(run) => {
            let since = arguments.within.map(|Since(time)| time);
            let (exit, line) = monitor::line(&run, exit_of(&run), since, SystemTime::now().into());
            output::print(&line)?;
            Ok(exit)
        }
        Err(error) => {
            let first = format!("{error:#}");
            let first = first.lines().next().unwrap_or_default();
            output::print(&format!("UNKNOWN: {first}\n"))?;
            Ok(Exit::Unmeasured)
        }
    }
}

async fn find(session: &Session, arguments: &Show) -> anyhow::Result<Run> {
    let server = session.connect().await?;
    match &arguments.run {
        Some(name) => {
            let request = quick(GetRunRequest { name: name.clone() });
            let run = server.rounds().get_run(request).await;
            Ok(run.map_err(Refusal)?.into_inner())
        }
        None => last(&server, &arguments.round).await,
    }
}

/// The last run that is over; one that runs now has no verdict yet.
async fn last(server: &Connection, round: &str) -> anyhow::Result<Run> {
    let request = ListRunsRequest {
        page_size: LOOKED_THROUGH,
        round: round.to_owned(),
        ..ListRunsRequest::default()
    };
    let listed = server.rounds().list_runs(quick(request)).await;
    let runs = listed.map_err(Refusal)?.into_inner().runs;
    let over = runs
        .into_iter()
        .find(|run| matches!(run.state(), State::Ended | State::Missed));
    let of = if round.is_empty() { "a round" } else { round };
    over.ok_or_else(|| anyhow::anyhow!("no run of {of} has ended yet: goodwire rounds run NAME"))
}
