//! Sends the messages of runs: a program of the user's gets each on its standard input.
//!
//! What has to go out is in the store, so a message outlives a restart. A program that fails is
//! tried again, for a day.

use std::{
    collections::HashMap,
    io::Write,
    process::{Command, Stdio},
    sync::Arc,
    thread,
    time::{Duration, Instant},
};

use goodwire_proto::v1::{Run, run::State, verdict::Outcome};
use tokio_util::sync::CancellationToken;

use super::message::message;
use crate::{config::MessagesConfig, measure::complete::Desk, store::StoreError};

/// How often it is looked whether a message has to go out.
const LOOK: Duration = Duration::from_secs(2);
/// Pauses before a program that failed is tried again; the last one again and again.
const PAUSES: [Duration; 3] = [
    Duration::from_secs(30),
    Duration::from_secs(120),
    Duration::from_secs(900),
];
/// A message older than this helps nobody any more.
const STALE_S: i64 = 86_400;
/// The program may take so long.
const PROGRAM_TIMEOUT: Duration = Duration::from_secs(30);
/// How often it is looked whether it has ended.
const PROGRAM_LOOK: Duration = Duration::from_millis(20);

/// When a message is tried again.
struct Again {
    at: Instant,
    tries: usize,
}

/// Sends what has to go out, until `ending`.
pub async fn send_messages(desk: Arc<Desk>, ending: CancellationToken) {
    let Some(config) = desk.config.messages.clone() else {
        return;
    };
    let mut again: HashMap<String, Again> = HashMap::new();
    loop {
        let (desk, config) = (Arc::clone(&desk), config.clone());
        let sent = tokio::task::spawn_blocking(move || {
            if let Err(error) = send_all(&desk, &config, &mut again) {
                tracing::error!(%error, "the messages to be sent cannot be read");
            }
            again
        });
        match sent.await {
            Ok(left) => again = left,
            Err(error) => return tracing::error!(%error, "no messages are sent any more"),
        }
        tokio::select! {
            () = tokio::time::sleep(LOOK) => {}
            () = ending.cancelled() => return,
        }
    }
}

fn send_all(
    desk: &Desk,
    config: &MessagesConfig,
    again: &mut HashMap<String, Again>,
) -> Result<(), StoreError> {
    let now_s = desk.clock.timestamp().seconds;
    for run in desk.store.untold_runs()? {
        let known = again.get(&run.name);
        if known.is_some_and(|again| Instant::now() < again.at) {
            continue;
        }
        let tries = known.map_or(0, |again| again.tries);
        let outcome = send(config, &desk.config.site, &run);
        if let Err(text) = &outcome {
            tracing::warn!(run = run.name, tries, "its message was not sent: {text}");
        }
        let last = run.end_time.as_ref().or(run.due_time.as_ref());
        let is_stale = last.is_some_and(|time| now_s - time.seconds > STALE_S);
        if outcome.is_ok() || is_stale {
            desk.store.set_told(&run.name)?;
            again.remove(&run.name);
            continue;
        }
        let pause = PAUSES[tries.min(PAUSES.len() - 1)];
        let at = Instant::now() + pause;
        again.insert(
            run.name,
            Again {
                at,
                tries: tries + 1,
            },
        );
    }
    Ok(())
}

/// Runs the program once. What it prints is its own; a failure says how it ended.
fn send(config: &MessagesConfig, site: &str, run: &Run) -> Result<(), String> {
    let (program, arguments) = config
        .command
        .split_first()
        .ok_or("the configuration names no program")?;
    let mut child = Command::new(program)
        .args(arguments)
        .env("GOODWIRE_SITE", site)
        .env("GOODWIRE_RUN", &run.name)
        .env("GOODWIRE_OUTCOME", outcome_word(run))
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .map_err(|error| format!("{program} cannot be started: {error}"))?;
    let text = message(site, run);
    if let Some(mut input) = child.stdin.take() {
        // A program that does not care to read says by its exit code whether all is well. A
        // message is shorter than what a pipe holds, so that nobody is waited for here.
        let _ = input.write_all(text.as_bytes());
    }
    let deadline = Instant::now() + PROGRAM_TIMEOUT;
    loop {
        match child.try_wait() {
            Ok(Some(status)) if status.success() => return Ok(()),
            Ok(Some(status)) => return Err(format!("{program} ended with {status}")),
            Ok(None) if Instant::now() < deadline => thread::sleep(PROGRAM_LOOK),
            Ok(None) => {
                let _ = child.kill();
                let _ = child.wait();
                let limit_s = PROGRAM_TIMEOUT.as_secs();
                return Err(format!("{program} took longer than {limit_s} s"));
            }
            Err(error) => return Err(error.to_string()),
        }
    }
}

/// The outcome in a word, for programs that tell by it whom to wake.
fn outcome_word(run: &Run) -> &'static str {
    match (run.state(), run.outcome()) {
        (State::Missed, _) => "MISSED",
        (_, outcome) => Outcome::as_str_name(&outcome),
    }
}
