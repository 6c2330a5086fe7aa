//! What comes out over what goes in, both in dBFS and on the same scale.

use goodwire_proto::v1::Curve;

use super::{AXIS_WIDTH, CELL_HEIGHT, COLUMNS_MAX, Point, grid::Grid, largest, smallest};
use crate::show::Look;

/// Most rows that a plot takes.
const ROWS_MAX: f64 = 26.0;
/// What reaches above a named level by no more than this opens no further step, in dB.
const TOLERANCE_DB: f64 = 0.25;
/// Levels are named at multiples of this, in dB.
const STEP_DB: f64 = 10.0;

/// The dB that an axis spans, both ends on a multiple of the step.
struct Span {
    low_db: f64,
    high_db: f64,
}

impl Span {
    fn of(levels: &[f64]) -> Option<Self> {
        let low = smallest(levels.iter().copied())?;
        let high = largest(levels.iter().copied())?;
        let low_db = (low / STEP_DB).floor() * STEP_DB;
        let high_db = ((high - TOLERANCE_DB) / STEP_DB).ceil() * STEP_DB;
        // One level alone still has an axis.
        let high_db = high_db.max(low_db + STEP_DB);
        Some(Self { low_db, high_db })
    }

    fn db(&self) -> f64 {
        self.high_db - self.low_db
    }

    fn steps(&self) -> impl Iterator<Item = f64> {
        let count = (self.db() / STEP_DB).round() as usize;
        let low_db = self.low_db;
        (0..=count).map(move |step| low_db + step as f64 * STEP_DB)
    }
}

/// Plots output over input level, with dots where a link of the given gain would be that clips
/// nowhere. Empty where the curve has no points.
pub fn input_output(look: &Look, curve: &Curve, gain_db: Option<f64>) -> String {
    let (Some(send), Some(back)) = (Span::of(&curve.x), Span::of(&curve.y)) else {
        return String::new();
    };
    let room = look
        .width
        .saturating_sub(AXIS_WIDTH + 2)
        .clamp(24, COLUMNS_MAX);
    // 1 dB is as long to the right as upwards.
    let columns_per_db = (room as f64 / send.db()).min(ROWS_MAX * CELL_HEIGHT / back.db());
    let rows_per_db = columns_per_db / CELL_HEIGHT;
    let columns = (send.db() * columns_per_db).ceil() as usize;
    // A row hangs below its level: the lowest level needs one more.
    let rows = (back.db() * rows_per_db).floor() as usize + 1;
    let column = |db: f64| (db - send.low_db) * columns_per_db;
    let row = |db: f64| (back.high_db - db) * rows_per_db;

    let mut grid = Grid::new(look, columns, rows);
    for db in send.steps() {
        grid.name_column(column(db), format!("{db:.0}"));
    }
    for db in back.steps() {
        grid.name_row(row(db), format!("{db:.0}"));
    }
    if let Some(gain_db) = gain_db {
        let straight = (0..columns).step_by(2).map(|at| {
            let send_db = send.low_db + (at as f64 + 0.5) / columns_per_db;
            (at as f64, row(send_db + gain_db))
        });
        grid.dots(straight);
    }
    let spread = |index: usize| curve.y_uncertainty.get(index).copied().unwrap_or(0.0);
    let points = curve.x.iter().zip(&curve.y).enumerate();
    let points: Vec<_> = points
        .map(|(index, (x, y))| Point {
            column: column(*x),
            row: row(*y).max(0.0),
            spread_rows: spread(index) * rows_per_db,
        })
        .collect();
    grid.curve(&points);
    let note = "dBFS at the send, dBFS at the return upwards, on one scale";
    format!("{}{:AXIS_WIDTH$}{note}\n", grid.render(), "")
}

#[cfg(test)]
mod tests {
    use super::*;

    const LOOK: Look = Look {
        width: 80,
        unicode: false,
        colour: false,
    };

    fn clipping() -> Curve {
        let x: Vec<f64> = (0..=30).map(|step| -60.0 + 2.0 * f64::from(step)).collect();
        Curve {
            y: x.iter().map(|x| (x + 6.0).min(-12.0)).collect(),
            x,
            ..Curve::default()
        }
    }

    #[test]
    fn a_link_that_clips_turns_flat_below_its_dots() {
        let plot = input_output(&LOOK, &clipping(), Some(6.0));
        assert!(plot.lines().all(|line| line.len() <= 80), "{plot}");
        let flat = plot.lines().filter(|line| {
            line.contains("--------") || line.contains("''''''''") || line.contains("________")
        });
        assert_eq!(flat.count(), 2, "the flat top and the axis:\n{plot}");
        assert!(plot.contains('.'), "{plot}");
    }

    #[test]
    fn ten_db_are_as_wide_as_they_are_high() {
        let plot = input_output(&LOOK, &clipping(), None);
        let row_of = |name: &str| {
            plot.lines()
                .position(|line| line.starts_with(name))
                .unwrap()
        };
        let names = plot.lines().rev().nth(1).unwrap();
        let column_of = |name: &str| names.find(name).unwrap();
        let rows = row_of("   -50+") as f64 - row_of("   -10+") as f64;
        let columns = column_of("-10") as f64 - column_of("-50") as f64;
        assert!(
            (columns - CELL_HEIGHT * rows).abs() <= CELL_HEIGHT,
            "{columns} by {rows}:\n{plot}"
        );
    }

    #[test]
    fn a_curve_without_points_is_no_plot() {
        assert_eq!(input_output(&LOOK, &Curve::default(), None), "");
    }
}
