//! Level over log frequency, in the proportions of IEC 60263.

use goodwire_proto::v1::Curve;

use super::{AXIS_WIDTH, CELL_HEIGHT, COLUMNS_MAX, Point, grid::Grid, largest, smallest};
use crate::show::Look;

/// The plot spans these three decades.
const FROM_HZ: f64 = 20.0;
const TO_HZ: f64 = 20_000.0;
const DECADES: f64 = 3.0;
/// The ratios of IEC 60263:2020 in dB per decade that are used: the usual one first, the other
/// where the curve would be too high. Source: published extracts of the standard.
const RATIOS_DB_PER_DECADE: [f64; 2] = [25.0, 50.0];
/// Least span of the level axis in dB, so that a good link looks flat.
const SPAN_DB_MIN: f64 = 20.0;
/// Largest span in dB; what lies deeper is off the plot.
const SPAN_DB_MAX: f64 = 70.0;
/// Most rows that a plot takes.
const ROWS_MAX: f64 = 30.0;
/// Frequencies that are named.
const NAMED: [(f64, &str); 10] = [
    (20.0, "20"),
    (50.0, "50"),
    (100.0, "100"),
    (200.0, "200"),
    (500.0, "500"),
    (1_000.0, "1k"),
    (2_000.0, "2k"),
    (5_000.0, "5k"),
    (10_000.0, "10k"),
    (20_000.0, "20k"),
];

/// Scales of a plot.
#[derive(Debug, PartialEq)]
struct Scale {
    columns_per_decade: f64,
    rows_per_db: f64,
    top_db: f64,
    span_db: f64,
    ratio_db_per_decade: f64,
}

impl Scale {
    /// The scale for a curve between two levels on so many columns.
    fn new(columns: usize, low_db: f64, high_db: f64) -> Self {
        let top_db = ((high_db + 1.0) / 5.0).ceil() * 5.0;
        let bottom_db = ((low_db - 1.0) / 5.0).floor() * 5.0;
        let span_db = (top_db - bottom_db).min(SPAN_DB_MAX);
        let missing_db = (SPAN_DB_MIN - span_db).max(0.0);
        let columns_per_decade = columns as f64 / DECADES;
        // One decade is as long as so many dB are high.
        let rows_per_db = |ratio: f64| columns_per_decade / CELL_HEIGHT / ratio;
        let span_db = span_db + missing_db;
        let ratio_db_per_decade = RATIOS_DB_PER_DECADE
            .into_iter()
            .find(|ratio| rows_per_db(*ratio) * span_db <= ROWS_MAX)
            .unwrap_or(RATIOS_DB_PER_DECADE[1]);
        Self {
            columns_per_decade,
            rows_per_db: rows_per_db(ratio_db_per_decade),
            top_db: top_db + (missing_db / 10.0).floor() * 5.0,
            span_db,
            ratio_db_per_decade,
        }
    }

    fn column(&self, hz: f64) -> f64 {
        (hz / FROM_HZ).log10() * self.columns_per_decade
    }

    fn row(&self, db: f64) -> f64 {
        (self.top_db - db) * self.rows_per_db
    }
}

/// Plots the magnitude of a response; empty where no point lies between 20 Hz and 20 kHz.
pub fn magnitude(look: &Look, curve: &Curve) -> String {
    let audible = || {
        let points = curve.x.iter().zip(&curve.y);
        points
            .filter(|(hz, _)| (FROM_HZ..=TO_HZ).contains(*hz))
            .map(|(_, db)| *db)
    };
    let (Some(low), Some(high)) = (smallest(audible()), largest(audible())) else {
        return String::new();
    };
    let columns = look
        .width
        .saturating_sub(AXIS_WIDTH + 2)
        .clamp(24, COLUMNS_MAX);
    let scale = Scale::new(columns, low, high);
    let rows = (scale.span_db * scale.rows_per_db).ceil().max(1.0) as usize;
    let mut grid = Grid::new(look, columns, rows);
    name_levels(&mut grid, &scale);
    for (hz, name) in NAMED {
        grid.name_column(scale.column(hz), name.to_owned());
    }
    let zero = scale.row(0.0);
    grid.dots((0..columns).step_by(2).map(|column| (column as f64, zero)));
    grid.curve(&points(curve, &scale));
    format!(
        "{}{:AXIS_WIDTH$}Hz; {:.0} dB are as high as a decade is wide (IEC 60263)\n",
        grid.render(),
        "",
        scale.ratio_db_per_decade
    )
}

/// Names every 5 dB, every 10 where rows are scarce.
fn name_levels(grid: &mut Grid, scale: &Scale) {
    let step_db = if scale.rows_per_db * 5.0 >= 2.0 {
        5.0
    } else {
        10.0
    };
    let mut level_db = (scale.top_db / step_db).floor() * step_db;
    while level_db > scale.top_db - scale.span_db {
        grid.name_row(scale.row(level_db), format!("{level_db:.0}"));
        level_db -= step_db;
    }
}

fn points(curve: &Curve, scale: &Scale) -> Vec<Point> {
    let spread = |index: usize| curve.y_uncertainty.get(index).copied().unwrap_or(0.0);
    let points = curve.x.iter().zip(&curve.y).enumerate();
    points
        .filter(|(_, (hz, _))| **hz > 0.0)
        .map(|(index, (hz, db))| Point {
            column: scale.column(*hz),
            row: scale.row(*db),
            spread_rows: spread(index) * scale.rows_per_db,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const LOOK: Look = Look {
        width: 80,
        unicode: true,
        colour: false,
    };

    fn curve(points: &[(f64, f64, f64)]) -> Curve {
        Curve {
            x: points.iter().map(|p| p.0).collect(),
            y: points.iter().map(|p| p.1).collect(),
            y_uncertainty: points.iter().map(|p| p.2).collect(),
            ..Curve::default()
        }
    }

    #[test]
    fn one_decade_is_as_wide_as_25_db_are_high() {
        for columns in [48, 71, 96] {
            let scale = Scale::new(columns, -12.0, 3.0);
            let decade_widths = scale.column(2_000.0) - scale.column(200.0);
            let level_widths = (scale.row(-25.0) - scale.row(0.0)) * CELL_HEIGHT;
            assert!(
                (decade_widths - level_widths).abs() < 1e-9,
                "decade {decade_widths} cell widths, 25 dB {level_widths}"
            );
        }
    }

    #[test]
    fn a_curve_of_60_db_is_drawn_at_50_db_per_decade() {
        let scale = Scale::new(96, -58.0, 0.0);
        assert_eq!(scale.ratio_db_per_decade, 50.0);
        assert!(scale.span_db * scale.rows_per_db <= ROWS_MAX + 1.0);
    }

    #[test]
    fn a_flat_link_still_spans_20_db_around_its_level() {
        let scale = Scale::new(72, -0.1, 0.1);
        assert_eq!((scale.top_db, scale.span_db), (10.0, 20.0));
    }

    #[test]
    fn a_low_pass_is_drawn_within_80_columns_with_all_ten_frequencies() {
        let plot = magnitude(
            &LOOK,
            &curve(&[
                (20.0, 0.0, 0.0),
                (5_000.0, 0.0, 0.0),
                (20_000.0, -18.0, 0.0),
            ]),
        );
        assert!(
            plot.lines().all(|line| line.chars().count() <= 80),
            "{plot}"
        );
        for (_, name) in NAMED {
            assert!(plot.contains(name), "{name} is missing:\n{plot}");
        }
        assert!(plot.contains("25 dB"));
    }

    #[test]
    fn uncertainty_is_shaded_only_where_it_reaches_beyond_its_row() {
        let wide = curve(&[
            (20.0, 0.0, 0.01),
            (1_000.0, 0.0, 0.01),
            (20_000.0, 0.0, 6.0),
        ]);
        assert!(magnitude(&LOOK, &wide).contains('░'));
        let narrow = curve(&[(20.0, 0.0, 0.01), (20_000.0, 0.0, 0.02)]);
        assert!(!magnitude(&LOOK, &narrow).contains('░'));
    }

    #[test]
    fn without_utf8_the_plot_is_ascii_and_without_points_it_is_empty() {
        let ascii = Look {
            unicode: false,
            ..LOOK
        };
        assert!(magnitude(&ascii, &curve(&[(20.0, 0.0, 5.0), (20_000.0, -30.0, 5.0)])).is_ascii());
        assert_eq!(magnitude(&LOOK, &curve(&[(5.0, 0.0, 0.0)])), "");
    }
}
