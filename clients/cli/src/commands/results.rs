//! `goodwire results`

use clap::Args;
use goodwire_proto::v1::{ListMeasurementsRequest, Measurement};

use crate::{
    connect::{Connection, quick},
    exit::Exit,
    failure::Refusal,
    json,
    session::Session,
    show::results as view,
    values::Since,
};

/// Largest page that the server gives.
const PAGE_SIZE_MAX: u32 = 500;

/// Which measurements.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  goodwire results
  goodwire results --link lectern --analysis response --since 7d --limit 20")]
pub struct Results {
    /// Only of this link
    #[arg(long)]
    link: Option<String>,
    /// Only of this analysis
    #[arg(long)]
    analysis: Option<String>,
    /// Only from this time on: 2026-11-25, 2026-11-25T22:00:00Z, or an age like 90min, 24h, 7d
    #[arg(long, value_name = "T")]
    since: Option<Since>,
    /// At most so many
    #[arg(long, value_name = "N", default_value_t = 50)]
    #[arg(value_parser = clap::value_parser!(u32).range(1..))]
    limit: u32,
}

/// Prints what was measured, newest first.
///
/// # Errors
/// Where there is no such link or analysis.
pub async fn run(session: &Session, arguments: Results) -> anyhow::Result<Exit> {
    let server = session.connect().await?;
    let measurements = list(&server, &arguments).await?;
    session.print(
        || json::list("measurements", &measurements),
        |look| view::render(look, &measurements),
    )?;
    Ok(Exit::Pass)
}

/// As many pages as the limit takes.
async fn list(connection: &Connection, arguments: &Results) -> Result<Vec<Measurement>, Refusal> {
    let mut measurements = Vec::new();
    let mut page_token = String::new();
    let limit = arguments.limit as usize;
    while measurements.len() < limit {
        let missing = u32::try_from(limit - measurements.len()).unwrap_or(PAGE_SIZE_MAX);
        let page_size = i32::try_from(missing.min(PAGE_SIZE_MAX)).expect("at most 500");
        let request = ListMeasurementsRequest {
            page_size,
            page_token,
            link: arguments.link.clone().unwrap_or_default(),
            analysis: arguments.analysis.clone().unwrap_or_default(),
            since_time: arguments.since.map(|Since(time)| time),
        };
        let page = connection
            .measurements()
            .list_measurements(quick(request))
            .await?
            .into_inner();
        measurements.extend(page.measurements);
        page_token = page.next_page_token;
        if page_token.is_empty() {
            break;
        }
    }
    measurements.truncate(limit);
    Ok(measurements)
}
