//! A figure over time.

use goodwire_proto::v1::GetTrendResponse;
use prost_types::Timestamp;

use super::{AXIS_WIDTH, COLUMNS_MAX, Point, grid::Grid, largest, smallest};
use crate::show::{Look, number, time};

const ROWS: usize = 12;

/// Plots the values over time; empty where there are fewer than two.
pub fn history(look: &Look, trend: &GetTrendResponse) -> String {
    let seconds = |time: &Option<Timestamp>| time.map_or(0.0, |time| time.seconds as f64);
    let points: Vec<(f64, f64)> = trend
        .points
        .iter()
        .filter_map(|point| Some((seconds(&point.time), point.value?)))
        .collect();
    let values = || points.iter().map(|(_, value)| *value);
    let (Some(low), Some(high)) = (smallest(values()), largest(values())) else {
        return String::new();
    };
    let (first_s, last_s) = (points[0].0, points[points.len() - 1].0);
    if first_s >= last_s {
        return String::new();
    }
    // A figure that never moved still has an axis.
    let span = (high - low).max(high.abs() * 1e-6).max(f64::MIN_POSITIVE);
    let room = look.width.saturating_sub(AXIS_WIDTH + 2);
    let columns = room.clamp(24, COLUMNS_MAX);
    let column = |at_s: f64| (at_s - first_s) / (last_s - first_s) * (columns as f64 - 0.01);
    let row = |value: f64| (high - value) / span * (ROWS as f64 - 0.01);
    let mut grid = Grid::new(look, columns, ROWS);
    for value in [high, f64::midpoint(low, high), low] {
        grid.name_row(row(value), number::plain(value));
    }
    let day = |time: &Option<Timestamp>| time.as_ref().map_or(String::new(), |t| time::parts(t).0);
    if let [first, .., last] = trend.points.as_slice() {
        grid.name_column(6.0, day(&first.time));
        grid.name_column(columns as f64 - 6.0, day(&last.time));
    }
    let drawn: Vec<Point> = points
        .iter()
        .map(|(at_s, value)| Point {
            column: column(*at_s),
            row: row(*value),
            spread_rows: 0.0,
        })
        .collect();
    grid.curve(&drawn);
    let note = format!("{} over time", trend.unit);
    format!("{}{:AXIS_WIDTH$}{note}\n", grid.render(), "")
}
