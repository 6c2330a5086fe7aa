//! `goodwire rounds`

mod show;

use clap::Subcommand;
use goodwire_proto::v1::{
    CancelRunRequest, ListRoundsRequest, Run, RunRoundRequest, WatchRunRequest, run::State,
    verdict::Outcome,
};
use tonic::Request;
use uuid::Uuid;

pub use show::Show;

use crate::{
    connect::{Connection, quick},
    exit::Exit,
    failure::Refusal,
    json, output,
    session::Session,
    show::rounds as view,
};

/// What to do with rounds.
#[derive(Debug, Subcommand)]
pub enum Rounds {
    /// Check the links of a round now: plays sound
    #[command(after_help = "\
Example:
  goodwire rounds run nightly --present

Exits with the worst verdict: 0 pass, 1 drift, 2 fail, 3 unmeasured.
Before anything plays: mute the PA and in-ear mixes, tell people, start low.")]
    Run {
        /// The round's name
        name: String,
        /// Begin it and do not wait for its end
        #[arg(long)]
        no_wait: bool,
        /// You are in the room, it is clear, and sound may be played now
        #[arg(long)]
        present: bool,
    },
    /// One run with all its checks
    Show(Show),
}

/// How following a run ended.
pub struct Followed {
    /// The run, in its final state where no signal came.
    pub run: Run,
    /// Set where a signal cancelled it.
    pub signal: Option<Exit>,
}

/// Lists rounds, runs one, or shows a run.
///
/// # Errors
/// Where there is no such round or run.
pub async fn run(session: &Session, action: Option<Rounds>) -> anyhow::Result<Exit> {
    match action {
        None => {
            let server = session.connect().await?;
            list(session, &server).await
        }
        Some(Rounds::Show(arguments)) => show::run(session, arguments).await,
        Some(Rounds::Run {
            name,
            no_wait,
            present,
        }) => {
            let server = session.connect().await?;
            let begun = begin(&server, name, present).await?;
            if no_wait {
                print(session, &begun)?;
                return Ok(Exit::Pass);
            }
            let followed = follow(session, &server, begun).await?;
            print(session, &followed.run)?;
            Ok(followed.signal.unwrap_or_else(|| exit_of(&followed.run)))
        }
    }
}

/// Begins a run of a round now.
///
/// # Errors
/// Where there is no such round.
pub async fn begin(server: &Connection, name: String, present: bool) -> Result<Run, Refusal> {
    let request = RunRoundRequest {
        name,
        request_id: Uuid::now_v7().to_string(),
        present,
    };
    let begun = server.rounds().run_round(quick(request)).await?;
    Ok(begun.into_inner())
}

async fn list(session: &Session, server: &Connection) -> anyhow::Result<Exit> {
    let listed = server
        .rounds()
        .list_rounds(quick(ListRoundsRequest {}))
        .await;
    let rounds = listed.map_err(Refusal)?.into_inner().rounds;
    session.print(
        || json::list("rounds", &rounds),
        |look| view::render(look, &rounds),
    )?;
    Ok(Exit::Pass)
}

/// Follows a run to its end, telling each check as it ends. A signal cancels the run.
///
/// # Errors
/// Where the server refuses or is gone.
pub async fn follow(
    session: &Session,
    server: &Connection,
    begun: Run,
) -> anyhow::Result<Followed> {
    session.interrupts.handle_first();
    let name = begun.name.clone();
    // Without a deadline: a window may be open for hours.
    let watch = Request::new(WatchRunRequest { name: name.clone() });
    let mut news = server
        .rounds()
        .watch_run(watch)
        .await
        .map_err(Refusal)?
        .into_inner();
    let (mut run, mut told, mut signal) = (begun, 0, None);
    loop {
        tokio::select! {
            message = news.message() => match message.map_err(Refusal)? {
                Some(message) => run = message.run.unwrap_or(run),
                None => break,
            },
            exit = session.interrupts.first(), if signal.is_none() => {
                signal = Some(exit);
                let request = CancelRunRequest { name: name.clone() };
                // A server that is gone plays nothing either.
                let _ = server.rounds().cancel_run(quick(request)).await;
            }
        }
        for check in run.checks.iter().skip(told) {
            output::say(&view::line(&session.look, check));
        }
        told = told.max(run.checks.len());
    }
    Ok(Followed { run, signal })
}

fn print(session: &Session, run: &Run) -> anyhow::Result<()> {
    session.print(|| json::message(run), |look| view::render_run(look, run))
}

/// What a run says; one that has not ended says nothing yet.
fn exit_of(run: &Run) -> Exit {
    match (run.state(), Outcome::try_from(run.outcome)) {
        (State::Ended, Ok(Outcome::Pass | Outcome::Unspecified)) => Exit::Pass,
        (State::Ended, Ok(Outcome::Drift)) => Exit::Drift,
        (State::Ended, Ok(Outcome::Fail)) => Exit::Fail,
        _ => Exit::Unmeasured,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_run_exits_with_its_verdict_and_one_that_was_missed_with_3() {
        let exit = |state: State, outcome: Outcome| {
            let mut run = Run::default();
            run.set_state(state);
            run.set_outcome(outcome);
            exit_of(&run).code()
        };
        assert_eq!(exit(State::Ended, Outcome::Pass), 0);
        assert_eq!(exit(State::Ended, Outcome::Drift), 1);
        assert_eq!(exit(State::Ended, Outcome::Fail), 2);
        assert_eq!(exit(State::Ended, Outcome::Unmeasured), 3);
        assert_eq!(exit(State::Missed, Outcome::Unmeasured), 3);
        assert_eq!(exit(State::Running, Outcome::Pass), 3);
    }
}
