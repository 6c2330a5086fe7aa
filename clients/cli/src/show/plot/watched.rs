//! The level of a link that was watched, over time or over distance, and where it was lost.

use goodwire_proto::v1::{Curve, Event};
use prost_types::value::Kind;

use super::{AXIS_WIDTH, COLUMNS_MAX, Point, grid::Grid, largest, smallest};
use crate::show::{Look, number};

const ROWS: usize = 12;
/// What is lower is drawn here: it is silence.
const BOTTOM_DBFS: f64 = -120.0;
/// A level that never moves still has an axis of so many dB.
const SPAN_LEAST_DB: f64 = 10.0;
/// Events at which sound was lost.
const LOST: [&str; 3] = ["gap", "concealed", "lost"];

/// Plots a level, with dots from top to bottom where sound was lost; empty without two points.
pub fn watched(look: &Look, curve: &Curve, events: &[Event]) -> String {
    let levels = || curve.y.iter().map(|dbfs| dbfs.max(BOTTOM_DBFS));
    let (Some(low), Some(high)) = (smallest(levels()), largest(levels())) else {
        return String::new();
    };
    let (first, last) = (curve.x[0], curve.x[curve.x.len() - 1]);
    if first >= last {
        return String::new();
    }
    let low = low.min(high - SPAN_LEAST_DB);
    let room = look.width.saturating_sub(AXIS_WIDTH + 2);
    let columns = room.clamp(24, COLUMNS_MAX);
    let column = |x: f64| (x - first) / (last - first) * (columns as f64 - 0.01);
    let row = |dbfs: f64| (high - dbfs) / (high - low) * (ROWS as f64 - 0.01);
    let mut grid = Grid::new(look, columns, ROWS);
    for dbfs in [high, f64::midpoint(low, high), low] {
        grid.name_row(row(dbfs), format!("{dbfs:.1}"));
    }
    for x in [first, f64::midpoint(first, last), last] {
        grid.name_column(column(x), number::plain((x * 10.0).round() / 10.0));
    }
    let lost: Vec<f64> = events
        .iter()
        .filter_map(|event| place(event, &curve.x_unit))
        .collect();
    for x in lost.iter().filter(|x| (first..=last).contains(*x)) {
        grid.dots((0..ROWS).map(|row| (column(*x), row as f64)));
    }
    let points = curve.x.iter().zip(levels());
    let points: Vec<Point> = points
        .map(|(x, dbfs)| Point {
            column: column(*x),
            row: row(dbfs),
            spread_rows: 0.0,
        })
        .collect();
    grid.curve(&points);
    let dots = if lost.is_empty() {
        ""
    } else {
        "; dots: sound was lost"
    };
    format!(
        "{}{:AXIS_WIDTH$}{}{dots}\n",
        grid.render(),
        "",
        curve.x_unit
    )
}

/// Where an event stands on an axis of seconds or metres, if sound was lost at it.
fn place(event: &Event, x_unit: &str) -> Option<f64> {
    if !LOST.contains(&event.id.as_str()) {
        return None;
    }
    if x_unit == "s" {
        return event.start_s;
    }
    match event.at.as_ref()?.fields.get("metres")?.kind {
        Some(Kind::NumberValue(metres)) => Some(metres),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::show::place::tests::at;

    const LOOK: Look = Look {
        width: 60,
        unicode: false,
        colour: false,
    };

    fn level(x_unit: &str) -> Curve {
        Curve {
            x: (0..100).map(f64::from).collect(),
            y: (0..100).map(|n| -30.0 - f64::from(n) / 5.0).collect(),
            x_unit: x_unit.into(),
            ..Curve::default()
        }
    }

    fn gap() -> Event {
        Event {
            id: "gap".into(),
            start_s: Some(25.0),
            at: Some(at(&[("metres", 75.0)])),
            ..Event::default()
        }
    }

    #[test]
    fn a_level_that_falls_by_20_db_runs_down_and_a_gap_is_dotted_at_its_time_or_distance() {
        for (unit, share) in [("s", 0.25), ("m", 0.75)] {
            let text = watched(&LOOK, &level(unit), &[gap()]);
            let lines: Vec<&str> = text.lines().collect();
            assert!(lines[0].starts_with(" -30.0+"), "{text}");
            assert!(lines[ROWS - 1].starts_with(" -49.8+"), "{text}");
            let dot = lines[ROWS / 2].find('.').unwrap() - AXIS_WIDTH;
            let want = share * (60 - AXIS_WIDTH - 2) as f64;
            assert!(
                (dot as f64 - want).abs() < 2.0,
                "{dot}, want {want}:\n{text}"
            );
            assert!(
                text.ends_with(&format!("{unit}; dots: sound was lost\n")),
                "{text}"
            );
        }
    }

    #[test]
    fn one_point_makes_no_plot_and_a_mark_is_no_loss() {
        assert_eq!(watched(&LOOK, &Curve::default(), &[]), "");
        let mark = Event {
            id: "mark".into(),
            ..gap()
        };
        assert!(!watched(&LOOK, &level("s"), &[mark]).contains("dots"));
    }
}
