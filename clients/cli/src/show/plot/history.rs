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

#[cfg(test)]
mod tests {
    use goodwire_proto::v1::TrendPoint;

    use super::*;

    fn look() -> Look {
        Look {
            width: 60,
            unicode: true,
            colour: false,
        }
    }

    fn falling(count: i64) -> GetTrendResponse {
        let point = |night: i64| TrendPoint {
            time: Some(Timestamp {
                seconds: 1_764_000_000 + night * 86_400,
                nanos: 0,
            }),
            value: Some(-0.1 * night as f64),
            ..TrendPoint::default()
        };
        GetTrendResponse {
            unit: "dB".into(),
            points: (0..count).map(point).collect(),
            ..GetTrendResponse::default()
        }
    }

    #[test]
    fn a_figure_that_falls_by_3_db_in_31_nights_runs_from_top_left_to_bottom_right() {
        let text = history(&look(), &falling(31));
        let lines: Vec<_> = text.lines().collect();
        assert!(lines[0].starts_with("     0┤"), "{text}");
        assert!(lines[11].starts_with("    -3┤"), "{text}");
        let first = |line: &str| line.chars().skip(AXIS_WIDTH).position(|c| c != ' ');
        assert!(first(lines[0]) < Some(3), "{text}");
        assert!(first(lines[11]) > Some(40), "{text}");
        assert!(
            text.contains("2025-11-24") && text.contains("dB over time"),
            "{text}"
        );
    }

    #[test]
    fn one_night_makes_no_plot() {
        assert_eq!(history(&look(), &falling(1)), "");
        assert_eq!(history(&look(), &falling(0)), "");
    }
}
