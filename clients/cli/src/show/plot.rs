//! Plots of plain characters.
//!
//! A character cell is taken to be twice as high as it is wide, so that proportions hold on most
//! terminals (common practice, no source).

mod grid;
mod history;
mod level;
mod response;
mod watched;

pub use history::history;
pub use level::input_output;
pub use response::magnitude;
pub use watched::watched;

/// How many cell widths one cell is high.
const CELL_HEIGHT: f64 = 2.0;
/// Characters left of the plot: the numbers and the axis.
const AXIS_WIDTH: usize = 7;
/// Plots grow no wider than this.
const COLUMNS_MAX: usize = 96;

/// A point of a curve on the grid, in columns and rows; fractions are kept.
#[derive(Debug, Clone, Copy)]
struct Point {
    column: f64,
    row: f64,
    /// One standard deviation in rows.
    spread_rows: f64,
}

/// The largest of some numbers; `None` where there is none.
fn largest(numbers: impl Iterator<Item = f64>) -> Option<f64> {
    numbers.reduce(f64::max)
}

/// The smallest of some numbers; `None` where there is none.
fn smallest(numbers: impl Iterator<Item = f64>) -> Option<f64> {
    numbers.reduce(f64::min)
}
