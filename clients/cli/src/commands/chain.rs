//! `goodwire chain`

use clap::Args;
use goodwire_proto::v1::{ListMeasurementsRequest, Measurement, measurement::State};
use prost_types::Timestamp;
use serde_json::{Value, json};

use crate::{
    connect::{Connection, quick},
    exit::Exit,
    failure::Refusal,
    session::Session,
    show::chain as view,
};

/// Speed of sound in dry air at 20 °C, in m/s (ISO 9613-1; from memory of that standard).
const SOUND_M_PER_S: f64 = 343.2;
/// International foot in metres, exact since 1959.
const METRES_PER_FOOT: f64 = 0.3048;
/// A limit counts with so many standard deviations, as in every verdict.
const COVERAGE: f64 = 2.0;
/// So many measurements of a link are looked through for one with a latency.
const LOOKED_THROUGH: i32 = 50;

/// Which links, in the order in which the sound takes them.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  goodwire chain lectern stage-box foyer --limit-ms 20
  goodwire chain stage-box foyer --metres 12

Adds up the latencies that were measured last, and measures nothing: `goodwire measure all latency`
does. What a mixer or a converter between two links adds is not in it.

How much is too much? Players and singers were content with 1.4 to 42 ms, depending on instrument
and on whether they hear it in the ear or from a wedge (Lester and Boley, The Effects of Latency on
Live Sound Monitoring, AES 123rd Convention, 2007, paper 7198). --metres sets the sum beside the
direct sound at a distance from the stage: a loudspeaker that is later than it pulls the ear less.

Ends with 0 whatever the sum says; --json has the outcome.")]
pub struct Chain {
    /// The links, two or more, each once
    #[arg(required = true, num_args = 2.., value_name = "LINK")]
    links: Vec<String>,
    /// The sum is to stay below this
    #[arg(long, value_name = "MS", value_parser = positive)]
    limit_ms: Option<f64>,
    /// How far the listener is from the stage
    #[arg(long, value_name = "N", value_parser = positive)]
    metres: Option<f64>,
    /// The same in feet
    #[arg(long, value_name = "N", value_parser = positive, conflicts_with = "metres")]
    feet: Option<f64>,
}

/// One link of the chain.
#[derive(Debug)]
pub struct Part {
    /// The bare name of the link.
    pub link: String,
    /// `measurements/…`.
    pub measurement: String,
    pub latency_ms: f64,
    /// One standard deviation.
    pub uncertainty_ms: f64,
    /// By how much the latency differed between repeats.
    pub jitter_ms: f64,
    /// When it was measured.
    pub end_time: Option<Timestamp>,
    /// True where the simulated rig was measured.
    pub simulated: bool,
}

/// What the whole chain does.
#[derive(Debug)]
pub struct Sum {
    pub latency_ms: f64,
    /// One standard deviation: those of the links are independent, so their squares add up.
    pub uncertainty_ms: f64,
    /// The most by which the sum can differ: all links late at once.
    pub jitter_ms: f64,
    /// The same delay in air.
    pub air_path_m: f64,
    pub limit_ms: Option<f64>,
    /// `PASS`, `FAIL` or `UNMEASURED`; empty without a limit.
    pub outcome: &'static str,
    /// Distance and arrival time of the direct sound there.
    pub direct: Option<(f64, f64)>,
}

/// Adds up the latencies of links in a row.
///
/// # Errors
/// Where a link is named twice, unknown, or has no latency yet.
pub async fn run(session: &Session, arguments: Chain) -> anyhow::Result<Exit> {
    let links = &arguments.links;
    if let Some(twice) = (1..links.len()).find(|index| links[..*index].contains(&links[*index])) {
        anyhow::bail!("`{}` is named twice: sound takes a link once", links[twice]);
    }
    let server = session.connect().await?;
    let mut parts = Vec::new();
    for link in links {
        parts.push(part(&server, link).await?);
    }
    let metres = arguments
        .metres
        .or(arguments.feet.map(|feet| feet * METRES_PER_FOOT));
    let sum = add_up(&parts, arguments.limit_ms, metres);
    session.print(
        || Ok(document(&parts, &sum)),
        |look| view::render(look, &parts, &sum),
    )?;
    Ok(Exit::Pass)
}

/// The latency of a link as it was measured last.
async fn part(server: &Connection, link: &str) -> anyhow::Result<Part> {
    let request = quick(ListMeasurementsRequest {
        page_size: LOOKED_THROUGH,
        link: link.to_owned(),
        analysis: "latency".into(),
        ..ListMeasurementsRequest::default()
    });
    let listed = server.measurements().list_measurements(request).await;
    let measured = listed.map_err(Refusal)?.into_inner().measurements;
    measured
        .iter()
        .filter(|one| one.state() == State::Succeeded)
        .find_map(|one| of_measurement(link, one))
        .ok_or_else(|| {
            anyhow::anyhow!(
                "{link} has no latency yet: measure it with `goodwire measure {link} latency`"
            )
        })
}

fn of_measurement(link: &str, measurement: &Measurement) -> Option<Part> {
    let figure = |id| measurement.figures.iter().find(|figure| figure.id == id);
    let latency = figure("latency")?;
    Some(Part {
        link: link.rsplit('/').next().unwrap_or(link).to_owned(),
        measurement: measurement.name.clone(),
        latency_ms: latency.value?,
        uncertainty_ms: latency.uncertainty.unwrap_or_default(),
        jitter_ms: figure("jitter")
            .and_then(|jitter| jitter.value)
            .unwrap_or_default(),
        end_time: measurement.end_time,
        simulated: measurement.simulated,
    })
}

fn add_up(parts: &[Part], limit_ms: Option<f64>, metres: Option<f64>) -> Sum {
    let latency_ms: f64 = parts.iter().map(|part| part.latency_ms).sum();
    let variance: f64 = parts.iter().map(|part| part.uncertainty_ms.powi(2)).sum();
    let uncertainty_ms = variance.sqrt();
    let outcome = limit_ms.map_or("", |limit_ms| {
        let margin_ms = COVERAGE * uncertainty_ms;
        if latency_ms + margin_ms <= limit_ms {
            "PASS"
        } else if latency_ms - margin_ms > limit_ms {
            "FAIL"
        } else {
            "UNMEASURED"
        }
    });
    Sum {
        latency_ms,
        uncertainty_ms,
        jitter_ms: parts.iter().map(|part| part.jitter_ms).sum(),
        air_path_m: latency_ms / 1e3 * SOUND_M_PER_S,
        limit_ms,
        outcome,
        direct: metres.map(|metres| (metres, metres / SOUND_M_PER_S * 1e3)),
    }
}

fn document(parts: &[Part], sum: &Sum) -> Value {
    let links: Vec<Value> = parts
        .iter()
        .map(|part| {
            json!({
                "link": format!("links/{}", part.link),
                "measurement": part.measurement,
                "latencyMs": part.latency_ms,
                "uncertaintyMs": part.uncertainty_ms,
                "jitterMs": part.jitter_ms,
                "endTime": part.end_time.as_ref().map(ToString::to_string),
                "simulated": part.simulated,
            })
        })
        .collect();
    let mut document = json!({
        "links": links,
        "latencyMs": sum.latency_ms,
        "uncertaintyMs": sum.uncertainty_ms,
        "jitterMs": sum.jitter_ms,
        "airPathM": sum.air_path_m,
    });
    if let Some(limit_ms) = sum.limit_ms {
        document["limitMs"] = json!(limit_ms);
        document["outcome"] = json!(sum.outcome);
    }
    if let Some((metres, arrival_ms)) = sum.direct {
        document["directSound"] = json!({ "metres": metres, "arrivalMs": arrival_ms });
    }
    document
}

fn positive(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(number) if number.is_finite() && number > 0.0 => Ok(number),
        _ => Err(format!("`{text}` is no number above 0")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(link: &str, latency_ms: f64, uncertainty_ms: f64) -> Part {
        Part {
            link: link.into(),
            measurement: format!("measurements/{link}"),
            latency_ms,
            uncertainty_ms,
            jitter_ms: 0.5,
            end_time: None,
            simulated: false,
        }
    }

    #[test]
    fn latencies_and_squares_of_uncertainties_add_up() {
        // 3, 4 and 5 are the sides of a right triangle.
        let sum = add_up(&[part("a", 3.0, 0.03), part("b", 17.0, 0.04)], None, None);
        assert!((sum.latency_ms - 20.0).abs() < 1e-12);
        assert!((sum.uncertainty_ms - 0.05).abs() < 1e-12);
        assert!((sum.jitter_ms - 1.0).abs() < 1e-12);
        assert!((sum.air_path_m - 6.864).abs() < 1e-9, "20 ms × 343.2 m/s");
    }

    #[test]
    fn a_limit_within_two_uncertainties_cannot_be_told() {
        let of = |limit_ms| add_up(&[part("a", 10.0, 0.1)], Some(limit_ms), None).outcome;
        assert_eq!(
            [of(10.3), of(10.1), of(9.9), of(9.7)],
            ["PASS", "UNMEASURED", "UNMEASURED", "FAIL"]
        );
    }

    #[test]
    fn direct_sound_takes_34_97_ms_for_12_m() {
        let sum = add_up(&[part("a", 10.0, 0.1)], None, Some(12.0));
        let (_, arrival_ms) = sum.direct.unwrap();
        assert!((arrival_ms - 34.965).abs() < 1e-3);
    }
}
