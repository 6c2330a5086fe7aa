//! Baselines from one machine to another: `goodwire baseline export|import`

use std::{fs, path::Path};

use anyhow::{Context, ensure};
use goodwire_proto::v1::{Baseline, GetMeasurementRequest, ImportBaselineRequest, Measurement};
use serde_json::{Value, json};

use crate::{
    connect::{Connection, quick},
    exit::Exit,
    failure::Refusal,
    json, output,
    session::Session,
    show::baselines as view,
};

/// What the file says of itself.
const SCHEMA: &str = "goodwire-baselines-1";

/// Writes every baseline with its measurement.
///
/// # Errors
/// Where a measurement is gone, or the file cannot be written.
pub async fn export(session: &Session, server: &Connection, file: &Path) -> anyhow::Result<Exit> {
    let baselines = super::all(server).await?;
    let mut measurements = Vec::new();
    for baseline in &baselines {
        let request = GetMeasurementRequest {
            name: baseline.measurement.clone(),
        };
        let got = server.measurements().get_measurement(quick(request)).await;
        measurements.push(json::message(&got.map_err(Refusal)?.into_inner())?);
    }
    let document = json!({ "schema": SCHEMA, "measurements": measurements });
    let cannot = || format!("{} cannot be written", file.display());
    fs::write(file, json::document(&document)).with_context(cannot)?;
    session.print(
        || json::list("baselines", &baselines),
        |look| view::render(look, &baselines),
    )?;
    Ok(Exit::Pass)
}

/// Takes over every baseline of a file; what is refused is told, and the others go on.
///
/// # Errors
/// Where the file cannot be read, or is none of ours.
pub async fn import(session: &Session, server: &Connection, file: &Path) -> anyhow::Result<Exit> {
    let name = file.display();
    let text = fs::read_to_string(file).with_context(|| format!("{name} cannot be read"))?;
    let measurements = read(&text).with_context(|| format!("{name} is no file of baselines"))?;
    let mut imported: Vec<Baseline> = Vec::new();
    let mut refused = 0;
    for measurement in measurements {
        let what = format!("{} {}", measurement.link, measurement.analysis);
        let request = ImportBaselineRequest {
            measurement: Some(measurement),
        };
        match server.judgement().import_baseline(quick(request)).await {
            Ok(baseline) => imported.push(baseline.into_inner()),
            Err(status) => {
                refused += 1;
                output::say(&format!("{what}: {}", Refusal(status)));
            }
        }
    }
    session.print(
        || json::list("baselines", &imported),
        |look| view::render(look, &imported),
    )?;
    Ok(Exit::done(refused == 0))
}

/// The measurements of a file.
fn read(text: &str) -> anyhow::Result<Vec<Measurement>> {
    let mut document: Value = serde_json::from_str(text)?;
    ensure!(
        document["schema"] == SCHEMA,
        "its `schema` is {} and not \"{SCHEMA}\"",
        document["schema"]
    );
    let Value::Array(measurements) = document["measurements"].take() else {
        anyhow::bail!("its `measurements` are no list");
    };
    measurements.into_iter().map(json::measurement_of).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_of_another_kind_is_refused_with_what_it_lacks() {
        let wrong = |text: &str| format!("{:#}", read(text).unwrap_err());
        assert!(wrong("{}").contains("schema"));
        assert!(wrong("not json").contains("expected"));
        let empty = format!("{{\"schema\":\"{SCHEMA}\",\"measurements\":3}}");
        assert!(wrong(&empty).contains("no list"));
        let unknown = format!("{{\"schema\":\"{SCHEMA}\",\"measurements\":[{{\"colour\":1}}]}}");
        assert!(wrong(&unknown).contains("colour"));
    }
}
