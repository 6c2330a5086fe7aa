//! `goodwire results`

use clap::{Args, ValueEnum};
use goodwire_proto::v1::{GetTrendRequest, ListMeasurementsRequest, Measurement, verdict::Outcome};

use crate::{
    connect::{Connection, quick},
    exit::Exit,
    failure::Refusal,
    json,
    session::Session,
    show::{results as view, trend as trend_view},
    values::{self, Setting, Since},
};

/// Largest page that the server gives.
const PAGE_SIZE_MAX: u32 = 500;

/// Which measurements.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  goodwire results
  goodwire results --link lectern --analysis response --since 7d --limit 20
  goodwire results --verdict fail --since 30d
  goodwire results --trend gain --link lectern --analysis level --since 84d
  goodwire results --trend deviation --at from_hz=20 --at to_hz=63 \\
    --link lectern --analysis response")]
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
    /// Only with this verdict
    #[arg(long, value_name = "VERDICT", conflicts_with = "trend")]
    verdict: Option<Word>,
    /// The history of this figure with its trend, in place of the list
    #[arg(long, value_name = "FIGURE", requires_all = ["link", "analysis"])]
    trend: Option<String>,
    /// Where the figure was asked for, such as from_hz=20; each key once
    #[arg(long, value_name = "NAME=VALUE", requires = "trend")]
    at: Vec<Setting>,
    /// At most so many
    #[arg(long, value_name = "N", default_value_t = 50)]
    #[arg(value_parser = clap::value_parser!(u32).range(1..))]
    limit: u32,
}

/// A verdict in a word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Word {
    Pass,
    Drift,
    Fail,
    Unmeasured,
}

impl From<Word> for Outcome {
    fn from(word: Word) -> Self {
        match word {
            Word::Pass => Self::Pass,
            Word::Drift => Self::Drift,
            Word::Fail => Self::Fail,
            Word::Unmeasured => Self::Unmeasured,
        }
    }
}

/// Prints what was measured, newest first; or how one figure has moved.
///
/// # Errors
/// Where there is no such link or analysis.
pub async fn run(session: &Session, arguments: Results) -> anyhow::Result<Exit> {
    let server = session.connect().await?;
    if let Some(figure) = &arguments.trend {
        return trend(session, &server, &arguments, figure).await;
    }
    let measurements = list(&server, &arguments).await?;
    session.print(
        || json::list("measurements", &measurements),
        |look| view::render(look, &measurements),
    )?;
    Ok(Exit::Pass)
}

/// Prints the history of a figure.
async fn trend(
    session: &Session,
    connection: &Connection,
    arguments: &Results,
    figure: &str,
) -> anyhow::Result<Exit> {
    let request = GetTrendRequest {
        link: arguments.link.clone().unwrap_or_default(),
        analysis: arguments.analysis.clone().unwrap_or_default(),
        figure: figure.to_owned(),
        at: values::at(&arguments.at)?,
        since_time: arguments.since.map(|Since(time)| time),
    };
    let asked = connection.judgement().get_trend(quick(request)).await;
    let found = asked.map_err(Refusal::from)?.into_inner();
    session.print(
        || json::message(&found),
        |look| trend_view::render(look, figure, &found),
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
            outcome: arguments
                .verdict
                .map_or(0, |word| Outcome::from(word).into()),
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
