//! `goodwire demo`

mod nights;

use std::{
    fs,
    path::{Path, PathBuf},
};

use anyhow::Context;
use clap::Args;
use goodwire_proto::v1::{MeasureRequest, Measurement, Run, measurement::State, run};
use serde_json::json;
use uuid::Uuid;

use self::nights::{NIGHTS, Night};
use super::{baseline, export, measure, report, rounds};
use crate::{
    exit::Exit,
    files, json, output,
    session::{Server, Session},
    show::{Look, overview, rounds as rounds_view},
    watch::{self, Followed},
};

/// Our own fictional venue.
const LANTERN_CELLAR: &str = include_str!("../../demo/lantern-cellar.toml");
/// What is measured of every link on commissioning day, in this order.
const ANALYSES: [&str; 5] = ["level", "latency", "response", "distortion", "noise"];
/// The round of the venue's configuration.
const ROUND: &str = "nightly";

/// What to mind before any of this is done on a real rig.
const CAUTIONS: &str = "Before you do this on a real rig: mute the PA and the in-ear mixes and \
    tell people, start low, never send test tones into an open live system, switch phantom power \
    off where the transmitter does not want it, and keep to the local radio rules.";

/// Where to write.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  goodwire demo

Starts a goodwired of its own on the simulated rig of a fictional venue, the Lantern Cellar,
commissions its four links, and runs the nightly round on three nights: one link's battery fades,
one is put on the wrong switch. No sound is played. What it found goes to ./demo-output.")]
pub struct Demo {
    /// The folder to write to
    #[arg(long, value_name = "DIR", default_value = "demo-output")]
    out: PathBuf,
}

/// Takes a fictional venue from commissioning day through three nights.
///
/// # Errors
/// Where no daemon starts, or a file cannot be written.
pub async fn run(session: &Session, arguments: Demo) -> anyhow::Result<Exit> {
    let out = &arguments.out;
    fs::create_dir_all(out).with_context(|| format!("{} cannot be made", out.display()))?;
    files::write_text(&out.join("lantern-cellar.toml"), LANTERN_CELLAR)?;
    // The nights are daemons of their own, with another rig each: what lasts is what they keep.
    let state = tempfile::tempdir().context("no temporary folder can be made")?;

    let commissioned = match commission(session, state.path()).await? {
        Ok(commissioned) => commissioned,
        Err(signal) => return Ok(signal),
    };
    for measurement in &commissioned {
        write(out, measurement)?;
    }
    let mut runs = Vec::new();
    for (index, night) in NIGHTS.iter().enumerate() {
        output::say(&format!("night {}: {}", index + 1, night.story));
        let page = page_of(out, index);
        let followed = live_through(session, night, state.path(), &page).await?;
        if let Some(signal) = followed.signal {
            return Ok(signal);
        }
        runs.push(followed.run);
    }
    print(session, out, &commissioned, &runs)?;
    let measured = commissioned.iter().all(|m| m.state() == State::Succeeded);
    let ended = runs.iter().all(|run| run.state() == run::State::Ended);
    Ok(Exit::done(measured && ended))
}

/// Commissioning day: the paths matched, every link measured, its results kept as baselines. Gives
/// the signal that ended it, where one came.
async fn commission(
    session: &Session,
    state: &Path,
) -> anyhow::Result<Result<Vec<Measurement>, Exit>> {
    let server = Session::start(LANTERN_CELLAR, Some(state)).await?;
    output::say("commissioning day: a cable in the place of every link");
    let matched = all_links(session, &server, "response", true).await?;
    if let Some(signal) = matched.signal {
        return Ok(Err(signal));
    }
    output::say("commissioning day: every link in its place");
    let mut measured = Vec::new();
    for analysis in ANALYSES {
        let followed = all_links(session, &server, analysis, false).await?;
        if let Some(signal) = followed.signal {
            return Ok(Err(signal));
        }
        measured.extend(followed.measurements);
    }
    for measurement in &measured {
        baseline::set(&server, &measurement.name).await?;
    }
    Ok(Ok(measured))
}

/// One night: the round, and its page.
async fn live_through(
    session: &Session,
    night: &Night,
    state: &Path,
    page: &Path,
) -> anyhow::Result<rounds::Followed> {
    let configuration = nights::configuration(LANTERN_CELLAR, night);
    let server = Session::start(&configuration, Some(state)).await?;
    let begun = rounds::begin(&server, ROUND.into(), false).await?;
    let followed = rounds::follow(session, &server, begun).await?;
    if followed.signal.is_none() {
        report::write(&server, vec![followed.run.name.clone()], page).await?;
    }
    Ok(followed)
}

/// Measures every link, or matches its paths.
async fn all_links(
    session: &Session,
    server: &Server,
    analysis: &str,
    is_match: bool,
) -> anyhow::Result<Followed> {
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

fn page_of(out: &Path, index: usize) -> PathBuf {
    out.join(format!("night-{}.html", index + 1))
}

fn print(
    session: &Session,
    out: &Path,
    commissioned: &[Measurement],
    runs: &[Run],
) -> anyhow::Result<()> {
    session.print(
        || {
            let mut document = json::list("measurements", commissioned)?;
            document["runs"] = json::list("runs", runs)?["runs"].take();
            document["pages"] = (0..runs.len())
                .map(|index| json!(page_of(out, index)))
                .collect();
            Ok(document)
        },
        |look| told(look, out, commissioned, runs),
    )
}

/// The whole of it for people; ends with where the last night's page is.
fn told(look: &Look, out: &Path, commissioned: &[Measurement], runs: &[Run]) -> String {
    let mut text = "The Lantern Cellar, a fictional venue on the SIMULATED rig\n".to_owned();
    text.push_str(&look.heading("Commissioning day"));
    text.push_str(&overview::render(look, commissioned));
    for (index, (night, run)) in NIGHTS.iter().zip(runs).enumerate() {
        text.push_str(&look.heading(&format!("Night {}: {}", index + 1, night.story)));
        text.push_str(&rounds_view::render_run(look, run));
    }
    let written = format!(
        "Written to {}: a page of each night, every measurement of commissioning day as JSON and \
         CSV, and lantern-cellar.toml, the configuration of the venue: change it and try \
         `goodwired --config FILE`.",
        out.display()
    );
    let last = page_of(out, runs.len().saturating_sub(1));
    text.push_str(&format!(
        "\n{}\n{}\nThe report of the last night: {}\n",
        look.wrap("", &written),
        look.wrap("", CAUTIONS),
        last.display()
    ));
    text
}
