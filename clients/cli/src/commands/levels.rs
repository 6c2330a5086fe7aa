//! `goodwire levels`

use std::io::{self, IsTerminal};

use clap::Args;
use goodwire_proto::v1::{WatchLevelsRequest, WatchLevelsResponse};
use tonic::Request;

use crate::{
    connect::quick, exit::Exit, failure::Refusal, json, output, session::Session,
    show::levels as view,
};

/// Once, or until it is ended.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  goodwire levels
  goodwire levels --once

Peak and RMS of every return, ten times a second, also while it is measured or during a hold. On a
terminal as bars; else, and with --json, the levels once, as with --once. CLIP stays beside a return
that ever stood at full scale, with how often. Ctrl-C ends it.")]
pub struct Levels {
    /// The levels of this moment, and no more
    #[arg(long)]
    once: bool,
}

/// Shows live levels.
///
/// # Errors
/// Where nobody answers.
pub async fn run(session: &Session, arguments: Levels) -> anyhow::Result<Exit> {
    let server = session.connect().await?;
    let is_once = arguments.once || session.json || !io::stdout().is_terminal();
    // Only the first answer has a deadline: the rest comes for as long as somebody looks.
    let request = match is_once {
        true => quick(WatchLevelsRequest {}),
        false => Request::new(WatchLevelsRequest {}),
    };
    let answer = server.levels().watch_levels(request).await;
    let mut news = answer.map_err(Refusal)?.into_inner();
    let first = news.message().await.map_err(Refusal)?.unwrap_or_default();
    if is_once {
        let mut levels = first;
        levels.returns.sort_by_key(|one| one.r#return);
        session.print(
            || Ok(with_list(json::message(&levels)?)),
            |look| view::table(look, &levels),
        )?;
        return Ok(Exit::Pass);
    }
    let mut bars = view::Bars::default();
    show(session, &mut bars, &first)?;
    while let Some(levels) = news.message().await.map_err(Refusal)? {
        show(session, &mut bars, &levels)?;
    }
    Ok(Exit::Pass)
}

/// An empty list still prints its key.
fn with_list(mut document: serde_json::Value) -> serde_json::Value {
    if document.get("returns").is_none() {
        document["returns"] = serde_json::json!([]);
    }
    document
}

fn show(
    session: &Session,
    bars: &mut view::Bars,
    levels: &WatchLevelsResponse,
) -> anyhow::Result<()> {
    output::print(&session.look.spell(&bars.draw(&session.look, levels)))
}
