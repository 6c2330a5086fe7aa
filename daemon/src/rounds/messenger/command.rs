//! A program of the user's gets the message on its standard input.

use std::{
    io::Write,
    process::{Command, Stdio},
    thread,
    time::{Duration, Instant},
};

use goodwire_proto::v1::{Run, run::State, verdict::Outcome};

use super::Letter;

/// The program may take so long.
const PROGRAM_TIMEOUT: Duration = Duration::from_secs(30);
/// How often it is looked whether it has ended.
const PROGRAM_LOOK: Duration = Duration::from_millis(20);

/// Runs the program once. What it prints is its own; a failure says how it ended.
pub(super) fn run(command: &[String], letter: &Letter<'_>) -> Result<(), String> {
    let (program, arguments) = command
        .split_first()
        .ok_or("the configuration names no program")?;
    let mut child = Command::new(program)
        .args(arguments)
        .env("GOODWIRE_SITE", letter.site)
        .env("GOODWIRE_RUN", &letter.run.name)
        .env("GOODWIRE_OUTCOME", outcome_word(letter.run))
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .map_err(|error| format!("{program} cannot be started: {error}"))?;
    if let Some(mut input) = child.stdin.take() {
        // A program that does not care to read says by its exit code whether all is well. A
        // message is shorter than what a pipe holds, so that nobody is waited for here.
        let _ = input.write_all(letter.text.as_bytes());
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
