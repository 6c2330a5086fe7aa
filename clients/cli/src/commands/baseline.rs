//! `goodwire baseline`

mod carry;

use std::path::PathBuf;

use clap::Subcommand;
use goodwire_proto::v1::{
    self as wire, ClearBaselineRequest, ListBaselinesRequest, SetBaselineRequest,
};

use crate::{
    connect::{Connection, quick},
    exit::Exit,
    failure::Refusal,
    json,
    session::Session,
    show::baselines as view,
};

/// What to do with baselines.
#[derive(Debug, Subcommand)]
#[command(after_help = "Example:\n  goodwire baseline list")]
pub enum Baseline {
    /// Compare later measurements of this link and analysis with this one
    #[command(after_help = "\
Example:
  goodwire baseline set 019ab0c3-0000-7000-8000-000000000000")]
    Set {
        /// The measurement's name, with or without `measurements/`
        measurement: String,
    },
    /// Write the baselines in force to a file, with their measurements
    #[command(after_help = "Example:\n  goodwire baseline export cellar.json")]
    Export {
        /// The file; an existing one is replaced
        file: PathBuf,
    },
    /// Take over the baselines of a file that another machine wrote
    #[command(after_help = "\
Example:
  goodwire baseline import cellar.json

Links are found by their names; those that this rig does not have are told and left out.")]
    Import {
        /// The file
        file: PathBuf,
    },
    /// The baselines in force
    #[command(after_help = "Example:\n  goodwire baseline list")]
    List,
    /// Compare with nothing any more; the measurement stays
    #[command(after_help = "Example:\n  goodwire baseline clear lectern response")]
    Clear {
        /// The link
        link: String,
        /// The analysis
        analysis: String,
    },
}

/// Sets, lists or clears baselines.
///
/// # Errors
/// Where there is no such measurement, link, analysis or baseline.
pub async fn run(session: &Session, action: Baseline) -> anyhow::Result<Exit> {
    let server = session.connect().await?;
    match action {
        Baseline::Set { measurement } => {
            let set = set(&server, &measurement).await?;
            session.print(
                || json::message(&set),
                |_| {
                    let wire::Baseline { link, analysis, .. } = &set;
                    format!(
                        "later `{analysis}` of {link} is compared with {}\n",
                        set.measurement
                    )
                },
            )?;
        }
        Baseline::List => {
            let baselines = all(&server).await?;
            session.print(
                || json::list("baselines", &baselines),
                |look| view::render(look, &baselines),
            )?;
        }
        Baseline::Export { file } => return carry::export(session, &server, &file).await,
        Baseline::Import { file } => return carry::import(session, &server, &file).await,
        Baseline::Clear { link, analysis } => {
            let text = format!("`{analysis}` of {link} is compared with nothing any more\n");
            let request = quick(ClearBaselineRequest { link, analysis });
            let cleared = server.judgement().clear_baseline(request).await;
            let cleared = cleared.map_err(Refusal)?.into_inner();
            session.print(|| json::message(&cleared), |_| text)?;
        }
    }
    Ok(Exit::Pass)
}

/// Compares later measurements with this one.
///
/// # Errors
/// Where there is no such measurement, or it cannot be compared with.
pub async fn set(server: &Connection, measurement: &str) -> Result<wire::Baseline, Refusal> {
    let request = quick(SetBaselineRequest {
        measurement: measurement.to_owned(),
    });
    Ok(server.judgement().set_baseline(request).await?.into_inner())
}

/// All baselines, every page of them.
async fn all(connection: &Connection) -> Result<Vec<wire::Baseline>, Refusal> {
    let mut baselines = Vec::new();
    let mut page_token = String::new();
    loop {
        let request = ListBaselinesRequest {
            page_size: 500,
            page_token,
        };
        let mut client = connection.judgement();
        let page = client.list_baselines(quick(request)).await?.into_inner();
        baselines.extend(page.baselines);
        page_token = page.next_page_token;
        if page_token.is_empty() {
            return Ok(baselines);
        }
    }
}
