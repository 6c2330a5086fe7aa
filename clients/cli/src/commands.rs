//! One file for each command or group of commands.

pub mod analyse;
pub mod analyses;
pub mod baseline;
pub mod calibrate;
pub mod chain;
pub mod channels;
pub mod commission;
pub mod compare;
pub mod completions;
pub mod demo;
pub mod devices;
pub mod export;
pub mod finish;
pub mod levels;
pub mod links;
pub mod mark;
pub mod matching;
pub mod measure;
pub mod positions;
pub mod report;
pub mod results;
pub mod room;
pub mod rounds;
pub mod show_one;
pub mod status;
pub mod stimulus;
pub mod walk;
pub mod wiring;

use crate::{arguments::Command, exit::Exit, session::Session};

/// Runs one command; gives how to exit.
///
/// # Errors
/// Whatever keeps the command from doing its work, in words for people.
pub async fn run(session: &Session, command: Command) -> anyhow::Result<Exit> {
    match command {
        Command::Status => status::run(session).await,
        Command::Devices(arguments) => devices::run(session, arguments).await,
        Command::Wiring(arguments) => wiring::run(session, arguments).await,
        Command::Levels(arguments) => levels::run(session, arguments).await,
        Command::Links { action } => links::run(session, action).await,
        Command::Analyses(arguments) => analyses::run(session, arguments).await,
        Command::Measure(arguments) => measure::run(session, arguments).await,
        Command::Walk(arguments) => walk::run(session, arguments).await,
        Command::Mark(arguments) => mark::run(session, arguments).await,
        Command::Finish(arguments) => finish::run(session, arguments).await,
        Command::Stimulus(arguments) => stimulus::run(session, arguments).await,
        Command::Analyse(arguments) => analyse::run(session, arguments).await,
        Command::Match(arguments) => matching::run(session, arguments).await,
        Command::Positions(arguments) => positions::run(session, arguments).await,
        Command::Commission(arguments) => commission::run(session, arguments).await,
        Command::Calibrate(arguments) => calibrate::run(session, arguments).await,
        Command::Chain(arguments) => chain::run(session, arguments).await,
        Command::Channels(arguments) => channels::run(session, arguments).await,
        Command::Results(arguments) => results::run(session, arguments).await,
        Command::Show(arguments) => show_one::run(session, arguments).await,
        Command::Export(arguments) => export::run(session, arguments).await,
        Command::Compare(arguments) => compare::run(session, arguments).await,
        Command::Baseline(action) => baseline::run(session, action).await,
        Command::Report(arguments) => report::run(session, arguments).await,
        Command::Rounds { action } => rounds::run(session, action).await,
        Command::Permit(arguments) => room::permit(session, arguments).await,
        Command::Hold(arguments) => room::hold(session, arguments).await,
        Command::Release => room::release(session).await,
        Command::Stop => room::stop(session).await,
        Command::Demo(arguments) => demo::run(session, arguments).await,
        Command::Completions(arguments) => completions::run(&arguments),
    }
}
