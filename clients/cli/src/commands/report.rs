//! `goodwire report`

use std::{
    io::Write,
    path::{Path, PathBuf},
};

use clap::Args;
use goodwire_proto::v1::RenderReportRequest;
use serde_json::json;

use crate::{
    connect::{Connection, slow},
    exit::Exit,
    failure::Refusal,
    files,
    session::Session,
};

/// Of what, and where to.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  goodwire report runs/019ab0c3-0000-7000-8000-000000000000 --out tonight.html
  goodwire report 019ab0c4-0000-7000-8000-000000000000 019ab0c5-0000-7000-8000-000000000000 \\
      --out which-do-we-buy.html

The page is one file: any browser shows it, offline too, and it prints on A4. Of several
measurements the first is what the others are compared with.")]
pub struct Report {
    /// One run, or measurements in the order in which they are to stand
    #[arg(required = true, value_name = "RUN|MEASUREMENT")]
    names: Vec<String>,
    /// The HTML file to write
    #[arg(long, value_name = "FILE.html")]
    out: PathBuf,
}

/// Writes a report.
///
/// # Errors
/// Where something named is not there, or the file cannot be written.
pub async fn run(session: &Session, arguments: Report) -> anyhow::Result<Exit> {
    let server = session.connect().await?;
    write(&server, arguments.names, &arguments.out).await?;
    let name = arguments.out.display().to_string();
    session.print(|| Ok(json!({ "files": [name] })), |_| format!("{name}\n"))?;
    Ok(Exit::Pass)
}

/// Writes the page of what is named to a file.
///
/// # Errors
/// Where something named is not there, or the file cannot be written.
pub async fn write(server: &Connection, names: Vec<String>, out: &Path) -> anyhow::Result<()> {
    let request = slow(RenderReportRequest { names });
    let answer = server.reports().render_report(request).await;
    let mut pieces = answer.map_err(Refusal)?.into_inner();
    let mut page = Vec::new();
    while let Some(piece) = pieces.message().await.map_err(Refusal)? {
        page.extend(piece.html);
    }
    files::write_whole(out, |file| Ok(file.write_all(&page)?))
}
