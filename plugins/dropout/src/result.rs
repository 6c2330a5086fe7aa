//! Figures, curves, events and notes of what was seen.

use goodwire_dsp::watch::Log;
use goodwire_plugin_sdk::api::{Curve, Figure};
use goodwire_plugin_sdk::figures::{curve, figure};
use goodwire_plugin_sdk::payload::SessionResult;
use goodwire_watching::{self as watching, Part};

use crate::notes::notes;
use crate::settings::Way;

/// Most points of the level over distance.
const PLACES_MAX: usize = 60;

/// All that a watch has seen.
pub struct Seen<'a> {
    /// What was lost, where somebody stood, how loud the link was.
    pub log: &'a Log,
    /// True where there was a cable.
    pub has_reference: bool,
    /// How the link was watched.
    pub way: Way,
    /// What of it was seen, where that is too little.
    pub part: Option<Part>,
    /// Frame at which the sound stopped for good, where nobody can tell whether it was lost or over.
    pub stopped_at: Option<f64>,
}

/// The result.
pub fn result(seen: &Seen<'_>) -> SessionResult {
    SessionResult {
        figures: figures(seen.log, seen.part),
        curves: curves(seen.log),
        events: watching::events(seen.log),
        notes: notes(seen),
        ..SessionResult::default()
    }
}

fn figures(log: &Log, part: Option<Part>) -> Vec<Figure> {
    let mut figures = watching::sums(log, part);
    figures.extend(availability(log, part));
    let until = log.ledger.first_frame().unwrap_or(f64::INFINITY);
    if let Some(metres) = log.marks.farthest_until(until) {
        figures.push(figure("range", metres, 0.0, "m"));
    }
    figures
}

/// The share of the time in which the sound was there. `None` where nothing was judged.
fn availability(log: &Log, part: Option<Part>) -> Option<Figure> {
    let judged_s = log.judged_s();
    let lost_s = log.ledger.lost_frame_count() / log.rate_hz;
    let spread_s = watching::lost_time_spread_s(log);
    let per_cent = 100.0 / judged_s;
    let (value, spread) = (100.0 - lost_s * per_cent, spread_s * per_cent);
    (judged_s > 0.0).then(|| match part {
        Some(part) => part.share("availability", value, spread),
        None => figure("availability", value, spread, "%"),
    })
}

fn curves(log: &Log) -> Vec<Curve> {
    let level = watching::level(log);
    let over_distance = over_distance(log, &level);
    std::iter::once(level).chain(over_distance).collect()
}

/// The lowest level at each distance between the marks; nothing without two places.
fn over_distance(log: &Log, level: &Curve) -> Option<Curve> {
    let place = |s: &f64| log.marks.metres_at(s * log.rate_hz);
    let points = level.x.iter().map(place).zip(&level.y);
    let points: Vec<(f64, f64)> = points.filter_map(|(m, y)| Some((m?, *y))).collect();
    let least = points
        .iter()
        .map(|point| point.0)
        .fold(f64::INFINITY, f64::min);
    let most = points.iter().map(|point| point.0).fold(0.0, f64::max);
    let width = (most - least) / PLACES_MAX as f64;
    if points.is_empty() || width <= 0.0 {
        return None;
    }
    let mut places = vec![None::<f64>; PLACES_MAX];
    for (metres, dbfs) in points {
        let index = (((metres - least) / width) as usize).min(PLACES_MAX - 1);
        places[index] = Some(places[index].map_or(dbfs, |lowest| lowest.min(dbfs)));
    }
    let there = places.into_iter().enumerate();
    let (x, y) = there
        .filter_map(|(index, dbfs)| Some((least + (index as f64 + 0.5) * width, dbfs?)))
        .unzip();
    let units = ["m", "dBFS"];
    Some(curve("level_over_distance", units, x, y, Vec::new()))
}
