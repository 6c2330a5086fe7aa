//! `goodwire commission`

mod limits;
mod page;

use std::{fs, path::PathBuf};

use anyhow::Context;
use clap::Args;
use goodwire_proto::v1::{ListAnalysesRequest, MeasureRequest, Measurement, measurement::State};
use uuid::Uuid;

use super::{baseline, links, measure};
use crate::{
    by_hand,
    connect::{Connection, quick},
    exit::Exit,
    failure::Refusal,
    json, output,
    session::Session,
    show::measurement as view,
    watch,
};

/// What is measured of the link, in this order, as far as it is installed.
const ANALYSES: [&str; 5] = ["level", "response", "latency", "noise", "distortion"];

/// What is planned besides where the link has a channel table.
const CHANNELS: &str = "channels";

/// Which link, and where its papers go.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  goodwire commission lectern --out lectern-2026-11

Leads through the day on which a link is taken into service: first a plain cable in its place, then
the link itself. Proposes limits from what was measured plus the usual margins, and asks before it
sets a baseline or writes a file: limits.toml, to be put into the configuration, and page.txt, to be
printed and signed. Answers come from standard input, a line each.
Plays sound at rising levels: mute the PA and in-ear mixes, tell people, start low.")]
pub struct Commission {
    /// The link
    link: String,
    /// Folder for limits.toml and page.txt; made where there is none
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// The paths were matched before, or are not to be: no cable is put in
    #[arg(long)]
    no_match: bool,
    /// You are in the room, it is clear, and sound may be played now
    #[arg(long)]
    present: bool,
}

/// Leads through the commissioning of a link.
///
/// # Errors
/// Where it is refused, nobody answers, or the server stays away.
pub async fn run(session: &Session, arguments: Commission) -> anyhow::Result<Exit> {
    let server = session.connect().await?;
    let link = &arguments.link;
    if !arguments.no_match {
        by_hand::done(&format!("put a plain cable in the place of {link}")).await?;
        let matched = one(session, &server, &arguments, "response", true).await?;
        if matched.state() != State::Succeeded {
            print(session, &[matched])?;
            return Ok(Exit::Unmeasured);
        }
    }
    by_hand::done(&format!("put {link} back in its place, switched on")).await?;
    let mut measured = Vec::new();
    let mut analyses = installed(&server).await?;
    if has_channel_table(&server, link).await? {
        analyses.push(CHANNELS.to_owned());
    }
    for analysis in analyses {
        measured.push(one(session, &server, &arguments, &analysis, false).await?);
    }
    let limits = limits::propose(link, &measured);
    print(session, &measured)?;
    output::say(&format!(
        "limits for {link}, from what was measured plus the usual margins:"
    ));
    output::say(&limits);
    let done: Vec<&Measurement> = measured
        .iter()
        .filter(|one| one.state() == State::Succeeded)
        .collect();
    let question = format!(
        "compare later measurements of {link} with these {}?",
        done.len()
    );
    if !done.is_empty() && by_hand::agreed(&question).await? {
        for measurement in &done {
            baseline::set(&server, &measurement.name).await?;
        }
    }
    if let Some(folder) = &arguments.out {
        let question = format!("write limits.toml and page.txt to {}?", folder.display());
        if by_hand::agreed(&question).await? {
            let cannot = || format!("{} cannot be written to", folder.display());
            fs::create_dir_all(folder).with_context(cannot)?;
            fs::write(folder.join("limits.toml"), &limits).with_context(cannot)?;
            let page = page::render(link, &measured, &limits);
            fs::write(folder.join("page.txt"), page).with_context(cannot)?;
        }
    }
    Ok(Exit::worst(&measured))
}

/// The analyses of a commissioning that are installed.
async fn installed(server: &Connection) -> anyhow::Result<Vec<String>> {
    let listed = server
        .analyses()
        .list_analyses(quick(ListAnalysesRequest {}))
        .await;
    let listed = listed.map_err(Refusal)?.into_inner().analyses;
    let is_there = |wanted: &&str| {
        let name = format!("analyses/{wanted}");
        listed.iter().any(|one| one.name == name)
    };
    Ok(ANALYSES
        .iter()
        .copied()
        .filter(is_there)
        .map(str::to_owned)
        .collect())
}

/// Whether the configuration says what the link can be set to.
async fn has_channel_table(server: &Connection, link: &str) -> anyhow::Result<bool> {
    let links = links::all(server).await?;
    let mut of_name = links
        .iter()
        .filter(|one| one.name.trim_start_matches("links/") == link);
    Ok(of_name.any(|one| !one.channel_table.is_empty()))
}

/// Measures once; a signal on the way ends the commissioning.
async fn one(
    session: &Session,
    server: &Connection,
    arguments: &Commission,
    analysis: &str,
    is_match: bool,
) -> anyhow::Result<Measurement> {
    let request = MeasureRequest {
        links: vec![arguments.link.clone()],
        analysis: analysis.to_owned(),
        request_id: Uuid::now_v7().to_string(),
        present: arguments.present,
        r#match: is_match,
        ..MeasureRequest::default()
    };
    let started = measure::ask(server, request).await?;
    let followed = watch::follow_all(session, server, &started).await?;
    anyhow::ensure!(
        followed.signal.is_none(),
        "ended by a signal; nothing was set or written"
    );
    let ended = followed.measurements.into_iter().next();
    ended.context("the server gave no measurement")
}

fn print(session: &Session, measured: &[Measurement]) -> anyhow::Result<()> {
    session.print(
        || json::list("measurements", measured),
        |look| view::render_several(look, measured),
    )
}
