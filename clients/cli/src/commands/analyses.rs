//! `goodwire analyses`

use clap::Args;
use goodwire_proto::v1::{GetAnalysisRequest, ListAnalysesRequest};

use crate::{
    connect::slow, exit::Exit, failure::Refusal, json, session::Session, show::analyses as view,
};

/// Which analysis.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  goodwire analyses\n  goodwire analyses response")]
pub struct Analyses {
    /// Only this one, with all its parameters
    analysis: Option<String>,
}

/// Prints what can be measured.
///
/// # Errors
/// Where nobody answers and no private daemon starts, or there is no such analysis.
pub async fn run(session: &Session, arguments: Analyses) -> anyhow::Result<Exit> {
    let server = session.connect_or_start().await?;
    let mut client = server.analyses();
    if let Some(name) = arguments.analysis {
        let analysis = client
            .get_analysis(slow(GetAnalysisRequest { name }))
            .await
            .map_err(Refusal)?
            .into_inner();
        session.print(
            || json::message(&analysis),
            |look| view::render_one(look, &analysis),
        )?;
    } else {
        let analyses = client
            .list_analyses(slow(ListAnalysesRequest {}))
            .await
            .map_err(Refusal)?
            .into_inner()
            .analyses;
        session.print(
            || json::list("analyses", &analyses),
            |look| view::render(look, &analyses),
        )?;
    }
    Ok(Exit::Pass)
}
