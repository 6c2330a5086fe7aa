//! Figures, curves, events and notes of what was seen.

use goodwire_dsp::watch::level_curve::LevelCurve;
use goodwire_dsp::watch::marks::Marks;
use goodwire_dsp::watch::{Lapse, LapseKind, poisson};
use goodwire_plugin_sdk::api::{Curve, Event, Figure, Note};
use goodwire_plugin_sdk::figures::{Located, curve, event, figure, info, warning};
use goodwire_plugin_sdk::payload::SessionResult;

use crate::tally::{LISTED_MAX, Tally};

/// Standard deviation of an edge in seconds: random gaps of four kinds were found within 1.0 ms,
/// the worst of some 1,600 edges, that is three of them (docs/measurement.md).
const EDGE_S: f64 = 0.000_33;
/// Most points of the level over distance.
const PLACES_MAX: usize = 60;

/// All that a watch has seen.
pub struct Seen<'a> {
    /// Frames a second of everything here.
    pub rate_hz: f64,
    /// Frames that were judged.
    pub judged_frames: f64,
    /// What was lost.
    pub tally: &'a Tally,
    /// Where somebody stood.
    pub marks: &'a Marks,
    /// How loud the link was.
    pub level: &'a LevelCurve,
    /// True where there was a cable.
    pub has_reference: bool,
    /// True where a carried player played.
    pub is_external: bool,
}

/// The result.
pub fn result(seen: &Seen<'_>) -> SessionResult {
    SessionResult {
        figures: figures(seen),
        curves: curves(seen),
        events: events(seen),
        notes: notes(seen),
        sounds: Vec::new(),
    }
}

fn figures(seen: &Seen<'_>) -> Vec<Figure> {
    let tally = seen.tally;
    let minutes = seen.judged_frames / seen.rate_hz / 60.0;
    let [low, high] = poisson::interval(tally.dropouts);
    let count = tally.dropouts as f64;
    let rate = Figure {
        low: Some(low / minutes),
        high: Some(high / minutes),
        uncertainty: None,
        ..figure("dropout_rate", count / minutes, 0.0, "1/min")
    };
    let ms = |frames: f64| frames / seen.rate_hz * 1_000.0;
    let lost_ms = ms(tally.lost_frames);
    let edges_ms = 1_000.0 * EDGE_S * (2.0 * tally.pieces as f64).sqrt();
    let per_cent = 100.0 / (minutes * 60_000.0);
    let mut figures = vec![
        figure("dropouts", count, 0.0, ""),
        rate,
        figure("lost_time", lost_ms, edges_ms, "ms"),
    ];
    if tally.pieces > 0 {
        let edge_ms = 1_000.0 * EDGE_S * 2.0_f64.sqrt();
        figures.push(figure("longest", ms(tally.longest_frames), edge_ms, "ms"));
    }
    let availability = 100.0 - lost_ms * per_cent;
    figures.push(figure(
        "availability",
        availability,
        edges_ms * per_cent,
        "%",
    ));
    let until = tally.first_frame.unwrap_or(f64::INFINITY);
    if let Some(metres) = seen.marks.farthest_until(until) {
        figures.push(figure("range", metres, 0.0, "m"));
    }
    figures
}

fn curves(seen: &Seen<'_>) -> Vec<Curve> {
    let [x, y] = seen.level.points();
    let over_distance = over_distance(seen, &x, &y);
    let mut curves = vec![curve("level", ["s", "dBFS"], x, y, Vec::new())];
    curves.extend(over_distance);
    curves
}

/// The lowest level at each distance between the marks; nothing without two places.
fn over_distance(seen: &Seen<'_>, x: &[f64], y: &[f64]) -> Option<Curve> {
    let place = |s: &f64| seen.marks.metres_at(s * seen.rate_hz);
    let points = x.iter().map(place).zip(y);
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

fn events(seen: &Seen<'_>) -> Vec<Event> {
    let of_lapse = |lapse: &Lapse| {
        let id = match lapse.kind {
            LapseKind::Gap => "gap",
            LapseKind::Concealed => "concealed",
            LapseKind::Click => "click",
            LapseKind::Burst => "burst",
            LapseKind::Shift => "shift",
            LapseKind::Clipped => "clipped",
            LapseKind::Faint => "level-loss",
        };
        let start_s = lapse.start_frame / seen.rate_hz;
        let duration_s = lapse.frame_count / seen.rate_hz;
        let one = event(id, start_s, Some(duration_s), "");
        match seen.marks.metres_at(lapse.start_frame) {
            Some(metres) => one.at("metres", metres),
            None => one,
        }
    };
    let of_marks = seen.marks.kept().iter().map(|mark| {
        let one = event("mark", mark.frame / seen.rate_hz, None, mark.label.clone());
        match mark.metres {
            Some(metres) => one.at("metres", metres),
            None => one,
        }
    });
    let lapses = seen.tally.listed.iter().map(of_lapse);
    lapses.chain(of_marks).collect()
}

fn notes(seen: &Seen<'_>) -> Vec<Note> {
    let mut notes = Vec::new();
    let hours = seen.judged_frames / seen.rate_hz / 3_600.0;
    if seen.tally.dropouts == 0 {
        let per_hour = poisson::upper_bound(0) / hours;
        notes.push(info(
            "none-seen",
            format!(
                "{:.0} s without a dropout show fewer than {per_hour:.3} an hour with 95 % \
                 confidence; fewer than one an hour takes {:.0} s",
                hours * 3_600.0,
                poisson::seconds_for_fewer_than(1.0).ceil()
            ),
        ));
    }
    if seen.tally.losses > 0 {
        let text = format!(
            "the interface lost frames {} times, {:.3} s in all; they are left out, and are no \
             dropouts",
            seen.tally.losses,
            seen.tally.frames_lost / seen.rate_hz
        );
        notes.push(info("frames-lost", text));
    }
    if seen.is_external {
        let text = "a carried player played, so gaps of the player and of the link cannot be told \
                    apart";
        notes.push(warning("player-or-link", text));
    } else if !seen.has_reference {
        let text = "there is no reference, so gaps of the interface and of the link cannot be told \
                    apart";
        notes.push(warning("no-reference", text));
    }
    if seen.tally.unlisted > 0 {
        let text = format!(
            "the first {LISTED_MAX} pieces are listed, and {} more are in the figures alone",
            seen.tally.unlisted
        );
        notes.push(info("not-all-listed", text));
    }
    if seen.marks.kept().iter().any(|mark| mark.metres.is_some()) {
        let text = match seen.tally.first_frame {
            Some(_) => {
                "the range is the farthest mark before the first dropout: at least so far, \
                        today, with these people in the room"
            }
            None => {
                "no dropout was seen, so the range is the farthest mark: at least so far, today, \
                     with these people in the room"
            }
        };
        notes.push(info("range-at-least", text));
    }
    notes
}
