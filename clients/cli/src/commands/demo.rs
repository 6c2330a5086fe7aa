//! `goodwire demo`

use std::{
    fs,
    path::{Path, PathBuf},
};

use anyhow::Context;
use clap::Args;
use goodwire_proto::v1::{MeasureRequest, Measurement, measurement::State};
use uuid::Uuid;

use super::{export, measure};
use crate::{
    exit::Exit,
    files, json, output,
    session::{Server, Session},
    show::{Look, overview},
    watch::{self, Followed},
};

/// Our own fictional venue.
const LANTERN_CELLAR: &str = include_str!("../../demo/lantern-cellar.toml");
/// What is measured of every link, in this order.
const ANALYSES: [&str; 5] = ["level", "latency", "response", "distortion", "noise"];

/// What to mind before any of this is done on a real rig.
const CAUTIONS: &str = "Before you do this on a real rig: mute the PA and the in-ear mixes and \
    tell people, start low, never send test tones into an open live system, switch phantom power \
    off where the transmitter does not want it, and keep to the local radio rules.";

/// Where to write.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  goodwire demo

Starts a goodwired of its own on the simulated rig of a fictional venue, the Lantern Cellar, and
measures its four links. No sound is played. What it found goes to ./demo-output.")]
pub struct Demo {
    /// The folder to write to
    #[arg(long, value_name = "DIR", default_value = "demo-output")]
    out: PathBuf,
}

/// Measures a fictional venue from end to end.
///
/// # Errors
/// Where no daemon starts, or a file cannot be written.
pub async fn run(session: &Session, arguments: Demo) -> anyhow::Result<Exit> {
    let out = &arguments.out;
    fs::create_dir_all(out).with_context(|| format!("{} cannot be made", out.display()))?;
    files::write_text(&out.join("lantern-cellar.toml"), LANTERN_CELLAR)?;
    let server = Session::start(LANTERN_CELLAR).await?;

    let mut measurements = Vec::new();
    let matched = all_links(session, &server, "response", true).await?;
    if let Some(exit) = matched.signal {
        return Ok(exit);
    }
    for analysis in ANALYSES {
        let followed = all_links(session, &server, analysis, false).await?;
        if let Some(exit) = followed.signal {
            return Ok(exit);
        }
        measurements.extend(followed.measurements);
    }
    for measurement in &measurements {
        write(out, measurement)?;
    }
    session.print(
        || json::list("measurements", &measurements),
        |look| {
            format!(
                "The Lantern Cellar, a fictional venue on the SIMULATED rig\n\n{}{}",
                overview::render(look, &measurements),
                epilogue(look, out)
            )
        },
    )?;
    let all = matched.measurements.iter().chain(&measurements);
    let worked = all.clone().all(|m| m.state() == State::Succeeded);
    Ok(Exit::done(worked))
}

/// Measures every link, or matches its paths.
async fn all_links(
    session: &Session,
    server: &Server,
    analysis: &str,
    is_match: bool,
) -> anyhow::Result<Followed> {
    let what = if is_match { "match" } else { analysis };
    output::say(&format!("measuring all links: {what}"));
    let request = MeasureRequest {
        links: vec!["all".into()],
        analysis: analysis.into(),
        request_id: Uuid::now_v7().to_string(),
        r#match: is_match,
        ..MeasureRequest::default()
    };
    let started = measure::ask(server, request).await?;
    watch::follow_all(session, server, &started).await
}

/// Writes one measurement as JSON and CSV, named by link and analysis.
fn write(out: &Path, measurement: &Measurement) -> anyhow::Result<()> {
    let link = measurement.link.trim_start_matches("links/");
    let stem = out.join(format!("{link}-{}", measurement.analysis));
    export::write_json(measurement, &stem.with_extension("json"))?;
    export::write_csv(measurement, &stem.with_extension("csv"))?;
    Ok(())
}

/// Where everything is, and what to mind with a real rig.
fn epilogue(look: &Look, out: &Path) -> String {
    let written = format!(
        "Written to {}: every measurement as JSON and CSV, and lantern-cellar.toml, the \
         configuration that made them: change it and try `goodwired --config FILE`.",
        out.display()
    );
    format!("\n{}\n{}", look.wrap("", &written), look.wrap("", CAUTIONS))
}
