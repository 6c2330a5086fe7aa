//! The match of a link: from the measurement that found it to what a plugin divides out.

use goodwire_proto::{
    plugin::v1::Match,
    v1::{Curve, Figure, Measurement},
};

/// Reads the paths' own difference from a match measurement. `None` where it lacks a curve or the
/// latency, or where the curves do not go together.
#[must_use]
pub fn from_measurement(measurement: &Measurement) -> Option<Match> {
    let curve = |id: &str| measurement.curves.iter().find(|curve| curve.id == id);
    let magnitude = curve("magnitude")?;
    let phase = curve("phase")?;
    let latency = measurement
        .figures
        .iter()
        .find(|figure| figure.id == "latency");
    let whole = magnitude.x == phase.x
        && magnitude.y.len() == magnitude.x.len()
        && phase.y.len() == phase.x.len()
        && magnitude.x.windows(2).all(|pair| pair[0] < pair[1])
        && !magnitude.x.is_empty();
    let finite = magnitude
        .x
        .iter()
        .chain(&magnitude.y)
        .chain(&phase.y)
        .all(|x| x.is_finite());
    (whole && finite).then(|| Match {
        frequency_hz: magnitude.x.clone(),
        gain_db: magnitude.y.clone(),
        phase_degree: phase.y.clone(),
        latency_ms: latency.and_then(|figure| figure.value).unwrap_or(0.0),
    })
}

/// Reads a match from the JSON that `export` writes: what a plugin needs of it, no more.
///
/// # Errors
/// A sentence that says what is wrong with the text.
pub fn from_json(text: &str) -> Result<Measurement, String> {
    let json: serde_json::Value =
        serde_json::from_str(text).map_err(|error| format!("is no JSON: {error}"))?;
    let list = |key: &str| json[key].as_array().cloned().unwrap_or_default();
    let numbers = |value: &serde_json::Value| -> Vec<f64> {
        value
            .as_array()
            .into_iter()
            .flatten()
            .filter_map(serde_json::Value::as_f64)
            .collect()
    };
    let word = |value: &serde_json::Value| value.as_str().unwrap_or_default().to_owned();
    let curve = |value: &serde_json::Value| Curve {
        id: word(&value["id"]),
        x: numbers(&value["x"]),
        y: numbers(&value["y"]),
        ..Curve::default()
    };
    let figure = |value: &serde_json::Value| Figure {
        id: word(&value["id"]),
        value: value["value"].as_f64(),
        ..Figure::default()
    };
    Ok(Measurement {
        name: word(&json["name"]),
        curves: list("curves").iter().map(curve).collect(),
        figures: list("figures").iter().map(figure).collect(),
        ..Measurement::default()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const EXPORTED: &str = r#"{"name":"measurements/1","figures":[{"id":"latency","value":0.5}],
        "curves":[{"id":"magnitude","x":[20,200],"y":[0.1,0.2]},
                  {"id":"phase","x":[20,200],"y":[1,2]}]}"#;

    #[test]
    fn an_exported_match_is_read_back() {
        let measurement = from_json(EXPORTED).expect("JSON");
        let matched = from_measurement(&measurement).expect("a match");
        assert_eq!(matched.frequency_hz, [20.0, 200.0]);
        assert_eq!(matched.gain_db, [0.1, 0.2]);
        assert_eq!(matched.latency_ms, 0.5);
    }

    #[test]
    fn curves_that_do_not_go_together_are_no_match() {
        let cut = EXPORTED.replace("[1,2]", "[1]");
        assert!(from_measurement(&from_json(&cut).expect("JSON")).is_none());
    }
}
