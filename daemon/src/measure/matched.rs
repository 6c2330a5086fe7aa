//! The match of a link: from the measurement that found it to what a plugin divides out.

use goodwire_proto::{plugin::v1::Match, v1::Measurement};

/// Reads the paths' own difference from a match measurement. `None` where it lacks a curve or the
/// latency, or where the curves do not go together.
#[must_use]
pub fn from_measurement(measurement: &Measurement) -> Option<Match> {
    let curve = |id: &str| measurement.curves.iter().find(|curve| curve.id == id);
    let magnitude = curve("magnitude")?;
    let phase = curve("phase")?;
    let latency = measurement.figures.iter().find(|figure| figure.id == "latency");
    let whole = magnitude.x == phase.x
        && magnitude.y.len() == magnitude.x.len()
        && phase.y.len() == phase.x.len()
        && magnitude.x.windows(2).all(|pair| pair[0] < pair[1])
        && !magnitude.x.is_empty();
    let finite = magnitude.x.iter().chain(&magnitude.y).chain(&phase.y).all(|x| x.is_finite());
    (whole && finite).then(|| Match {
        frequency_hz: magnitude.x.clone(),
        gain_db: magnitude.y.clone(),
        phase_degree: phase.y.clone(),
        latency_ms: latency.and_then(|figure| figure.value).unwrap_or(0.0),
    })
}
