//! What a measurement was made of and with.

use goodwire_proto::v1::Measurement;
use prost_types::{Value, value::Kind};

use super::{
    Zone,
    html::{Safe, scrolled},
};
use crate::judge::words as numbers;

/// Digits of a hash that tell it from any other one meets.
const HASH_DIGITS: usize = 12;

/// Setup, parameters and versions, as a table.
pub(super) fn table(measurement: &Measurement, zone: &Zone, caption: &str) -> String {
    let mut rows: Vec<(String, String)> = vec![
        ("Measurement".into(), measurement.name.clone()),
        ("Made".into(), zone.time_of(measurement)),
    ];
    rows.extend(setup(measurement));
    rows.extend(versions(measurement));
    rows.push(("Parameters".into(), parameters(measurement)));
    let rows: String = rows
        .iter()
        .filter(|(_, value)| !value.is_empty())
        .map(|(key, value)| {
            format!(
                "<tr><th scope=\"row\">{}</th><td>{}</td></tr>\n",
                Safe(key),
                Safe(value)
            )
        })
        .collect();
    let table = format!(
        "<table class=\"small\">\n<caption>{}</caption>\n<tbody>\n{rows}</tbody>\n</table>\n",
        Safe(caption)
    );
    scrolled(caption, &table)
}

/// In order of key: a map has none of its own, and the page has to be the same each time.
fn setup(measurement: &Measurement) -> Vec<(String, String)> {
    let mut setup: Vec<_> = measurement.setup.iter().collect();
    setup.sort();
    setup
        .into_iter()
        .map(|(key, value)| (format!("Setup: {key}"), value.clone()))
        .collect()
}

fn versions(measurement: &Measurement) -> Vec<(String, String)> {
    let mut rows = vec![("Match".to_owned(), measurement.r#match.clone())];
    let Some(made) = &measurement.provenance else {
        return rows;
    };
    let hash = |hash: &str| hash.chars().take(HASH_DIGITS).collect::<String>();
    let interface = [made.backend.as_str(), made.device.as_str()];
    let interface: Vec<&str> = interface.into_iter().filter(|s| !s.is_empty()).collect();
    rows.push(("Daemon".to_owned(), made.daemon_version.clone()));
    if !made.plugin.is_empty() {
        let text = format!("{}, hash {}…", made.plugin, hash(&made.plugin_hash));
        rows.push(("Plugin".to_owned(), text));
    }
    rows.push(("Interface".to_owned(), interface.join(", ")));
    if made.rate_hz > 0 {
        let text = format!("{} Hz, xruns: {}", made.rate_hz, made.xrun_count);
        rows.push(("Rate".to_owned(), text));
    }
    if !made.config_hash.is_empty() {
        let text = format!("hash {}…", hash(&made.config_hash));
        rows.push(("Configuration".to_owned(), text));
    }
    rows
}

fn parameters(measurement: &Measurement) -> String {
    let parameters = measurement.parameters.iter();
    let shown: Vec<String> = parameters
        .flat_map(|parameters| &parameters.fields)
        .map(|(key, value)| format!("{key} = {}", parameter(value)))
        .collect();
    shown.join(", ")
}

fn parameter(value: &Value) -> String {
    match &value.kind {
        Some(Kind::NumberValue(number)) => numbers::number(*number),
        Some(Kind::StringValue(text)) => text.clone(),
        Some(Kind::BoolValue(is_so)) => is_so.to_string(),
        Some(Kind::ListValue(list)) => {
            let values: Vec<String> = list.values.iter().map(parameter).collect();
            values.join(" ")
        }
        _ => String::new(),
    }
}
