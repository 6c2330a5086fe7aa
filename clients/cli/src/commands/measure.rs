//! `goodwire measure`

use std::io::{self, IsTerminal, Write};

use anyhow::Context;
use clap::Args;
use goodwire_proto::v1::{MeasureRequest, Measurement};
use tonic::Status;
use uuid::Uuid;

use crate::{
    connect::{Connection, quick},
    exit::Exit,
    failure::{self, Refusal},
    json, output,
    session::Session,
    show::measurement as view,
    values::{self, Setting},
    watch::{self, Followed},
};

/// The reason of a refusal for want of a person in the room.
const PRESENCE_REQUIRED: &str = "PRESENCE_REQUIRED";
/// How often a call whose answer was lost is made again; the request's id keeps it one measurement.
const TRIES: usize = 3;

/// What to measure.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  goodwire measure lectern response
  goodwire measure lectern,foyer latency --set repeats=8
  goodwire measure all level --present --json

Before anything plays: mute the PA and in-ear mixes, tell people, start low.")]
pub struct Measure {
    /// Links, separated by commas, or `all`
    #[arg(value_name = "LINK[,LINK...]|all")]
    links: String,
    /// What to measure: see `goodwire analyses`
    analysis: String,
    /// Set a parameter; may be given several times
    #[arg(long, value_name = "NAME=VALUE")]
    set: Vec<Setting>,
    /// Ask for it and do not wait for the result
    #[arg(long)]
    no_wait: bool,
    /// You are in the room, it is clear, and sound may be played now
    #[arg(long)]
    present: bool,
    /// A watch goes on by itself where the daemon was ended and started again
    #[arg(long)]
    resume: bool,
}

/// Measures links and prints what was found.
///
/// # Errors
/// Where it is refused, or the server stays away.
pub async fn run(session: &Session, arguments: Measure) -> anyhow::Result<Exit> {
    let request = MeasureRequest {
        links: values::links(&arguments.links)?,
        analysis: arguments.analysis,
        parameters: values::parameters(&arguments.set)?,
        request_id: Uuid::now_v7().to_string(),
        present: arguments.present,
        resume: arguments.resume,
        ..MeasureRequest::default()
    };
    let several = request.links.len() > 1 || request.links == ["all"];
    let server = session.connect().await?;
    let started = ask(&server, request).await?;
    if arguments.no_wait {
        print(session, &started, several)?;
        return Ok(Exit::Pass);
    }
    let Followed {
        measurements,
        signal,
    } = watch::follow_all(session, &server, &started).await?;
    if signal.is_none() || !measurements.is_empty() {
        print(session, &measurements, several)?;
    }
    Ok(signal.unwrap_or_else(|| Exit::worst(&measurements)))
}

/// Asks for a measurement; where somebody must be in the room, asks whoever sits at the terminal.
///
/// # Errors
/// What forbids it, and what to do about it.
pub async fn ask(
    connection: &Connection,
    mut request: MeasureRequest,
) -> anyhow::Result<Vec<Measurement>> {
    match call(connection, &request).await {
        Ok(started) => return Ok(started),
        Err(refusal) if request.present => return Err(Refusal(refusal).into()),
        Err(refusal) => agree_to_play(refusal).await?,
    }
    request.present = true;
    Ok(call(connection, &request).await.map_err(Refusal)?)
}

/// Where a request was refused because somebody must be in the room, asks whoever sits at the
/// terminal whether they are.
///
/// # Errors
/// The refusal where it is another, or where nobody can be asked; a no.
pub async fn agree_to_play(refusal: Status) -> anyhow::Result<()> {
    if failure::reason(&refusal).as_deref() != Some(PRESENCE_REQUIRED) {
        return Err(Refusal(refusal).into());
    }
    if !(io::stdin().is_terminal() && io::stderr().is_terminal()) {
        output::say("nobody can be asked here: where you are in the room, say so with --present");
        return Err(Refusal(refusal).into());
    }
    anyhow::ensure!(confirmed().await?, "nothing was played");
    Ok(())
}

/// One call; where its answer was lost, the same call again.
async fn call(
    connection: &Connection,
    request: &MeasureRequest,
) -> Result<Vec<Measurement>, Status> {
    let mut tries = 1;
    loop {
        let outcome = connection
            .measurements()
            .measure(quick(request.clone()))
            .await;
        match outcome {
            Ok(response) => return Ok(response.into_inner().measurements),
            Err(status) if tries < TRIES && lost(&status) => tries += 1,
            Err(status) => return Err(status),
        }
    }
}

/// True where the answer may have been lost on its way; a refusal with a reason is an answer.
fn lost(status: &Status) -> bool {
    watch::may_pass(status) && failure::reason(status).is_none()
}

/// Shows the cautions and asks for a yes.
async fn confirmed() -> anyhow::Result<bool> {
    output::say(
        "This plays test sounds on a real rig.\n  \
         - The PA and the in-ear mixes are muted, and everybody in the room knows.\n  \
         - The level starts low; nothing goes into an open live system.\n  \
         - Phantom power is off where the transmitter does not want it.",
    );
    let answer = tokio::task::spawn_blocking(|| {
        let mut answer = String::new();
        write!(
            io::stderr(),
            "Are you in the room, and may it play now? [y/N] "
        )?;
        io::stderr().flush()?;
        io::stdin().read_line(&mut answer)?;
        io::Result::Ok(answer)
    })
    .await
    .context("the question could not be asked")??;
    Ok(matches!(answer.trim(), "y" | "Y" | "yes" | "Yes"))
}

/// Prints one measurement, or several as a list.
fn print(session: &Session, measurements: &[Measurement], several: bool) -> anyhow::Result<()> {
    session.print(
        || match measurements {
            [only] if !several => json::message(only),
            all => json::list("measurements", all),
        },
        |look| match measurements {
            [only] => view::render(look, only),
            all => view::render_several(look, all),
        },
    )
}
