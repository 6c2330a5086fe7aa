//! The grid of characters that curves are drawn on.

use super::{AXIS_WIDTH, Point};
use crate::show::Look;

/// An uncertainty is drawn where it reaches at least so many rows to either side.
const SPREAD_ROWS_MIN: f64 = 0.5;

/// A grid with an axis on its left and one below.
#[derive(Debug)]
pub struct Grid {
    look: Look,
    cells: Vec<Vec<char>>,
    columns: usize,
    left: Vec<(usize, String)>,
    below: Vec<(usize, String)>,
}

impl Grid {
    /// An empty grid.
    pub fn new(look: &Look, columns: usize, rows: usize) -> Self {
        Self {
            look: *look,
            cells: vec![vec![' '; columns]; rows],
            columns,
            left: Vec::new(),
            below: Vec::new(),
        }
    }

    /// Names a row on the left; outside the grid nothing is named.
    pub fn name_row(&mut self, row: f64, name: String) {
        if let Some(row) = within(row, self.cells.len()) {
            self.left.push((row, name));
        }
    }

    /// Names a column below; outside the grid nothing is named.
    pub fn name_column(&mut self, column: f64, name: String) {
        let column = within(column.min(self.columns as f64 - 0.5), self.columns);
        if let Some(column) = column {
            self.below.push((column, name));
        }
    }

    /// Dots a line behind everything that is drawn later.
    pub fn dots(&mut self, points: impl IntoIterator<Item = (f64, f64)>) {
        let dot = self.look.either('·', '.');
        for (column, row) in points {
            self.set(column, row, dot);
        }
    }

    /// Draws a curve, and its uncertainty where that can be seen.
    pub fn curve(&mut self, points: &[Point]) {
        for column in 0..self.columns {
            let Some(stretch) = Stretch::of(points, column as f64, column as f64 + 1.0) else {
                continue;
            };
            self.spread(column, &stretch);
            if stretch.bottom - stretch.top < 1.0 {
                let row = f64::midpoint(stretch.top, stretch.bottom);
                self.set(column as f64, row, stroke(&self.look, row));
            } else {
                for row in stretch.top.floor() as i64..=stretch.bottom.floor() as i64 {
                    self.set(column as f64, row as f64, self.look.either('│', '|'));
                }
            }
        }
    }

    /// Shades what one standard deviation covers.
    fn spread(&mut self, column: usize, stretch: &Stretch) {
        if stretch.spread_rows < SPREAD_ROWS_MIN {
            return;
        }
        let first = (stretch.top - stretch.spread_rows).floor().max(0.0) as i64;
        let last = (stretch.bottom + stretch.spread_rows).floor();
        for row in first..=last.min(self.cells.len() as f64) as i64 {
            self.set(column as f64, row as f64, self.look.either('░', ':'));
        }
    }

    fn set(&mut self, column: f64, row: f64, letter: char) {
        let place = within(column, self.columns).zip(within(row, self.cells.len()));
        if let Some((column, row)) = place {
            self.cells[row][column] = letter;
        }
    }

    /// The grid with its axes.
    pub fn render(&self) -> String {
        let (line, tick) = self.look.either(('│', '┤'), ('|', '+'));
        let mut text = String::new();
        for (row, cells) in self.cells.iter().enumerate() {
            let name = self.left.iter().find(|(at, _)| *at == row);
            let (name, axis) = name.map_or(("", line), |(_, name)| (name, tick));
            let width = AXIS_WIDTH - 1;
            let cells: String = cells.iter().collect();
            text.push_str(format!("{name:>width$}{axis}{cells}").trim_end());
            text.push('\n');
        }
        text.push_str(&self.foot());
        text
    }

    /// The axis below with its names; a name that would touch the one before it is left out.
    fn foot(&self) -> String {
        let (corner, line, tick) = self.look.either(('└', '─', '┴'), ('+', '-', '+'));
        let mut axis = vec![line; self.columns];
        let mut names = String::new();
        for (column, name) in &self.below {
            axis[*column] = tick;
            let centred = (AXIS_WIDTH + column).saturating_sub(name.chars().count() / 2);
            let so_far = names.chars().count();
            if so_far == 0 || centred > so_far {
                names.push_str(&" ".repeat(centred - so_far));
                names.push_str(name);
            }
        }
        let indent = " ".repeat(AXIS_WIDTH - 1);
        let axis: String = axis.into_iter().collect();
        format!("{indent}{corner}{axis}\n{names}\n")
    }
}

/// What a curve does within one column.
struct Stretch {
    top: f64,
    bottom: f64,
    spread_rows: f64,
}

impl Stretch {
    /// The highest and lowest row between two columns; `None` where the curve is not there.
    fn of(points: &[Point], from: f64, to: f64) -> Option<Self> {
        let inside = points
            .iter()
            .filter(|p| from <= p.column && p.column < to)
            .copied();
        let edges = [from, to]
            .into_iter()
            .filter_map(|column| at(points, column));
        inside
            .chain(edges)
            .fold(None, |stretch: Option<Self>, point| {
                let one = Self {
                    top: point.row,
                    bottom: point.row,
                    spread_rows: point.spread_rows,
                };
                Some(stretch.map_or(one, |so_far| Self {
                    top: so_far.top.min(point.row),
                    bottom: so_far.bottom.max(point.row),
                    spread_rows: so_far.spread_rows.max(point.spread_rows),
                }))
            })
    }
}

/// The curve at a column, between its two neighbours; `None` outside of it.
fn at(points: &[Point], column: f64) -> Option<Point> {
    let after = points.iter().position(|point| point.column >= column)?;
    let b = points[after];
    let a = points[after.checked_sub(1)?];
    let share = (column - a.column) / (b.column - a.column);
    let mix = |from: f64, to: f64| from + share * (to - from);
    Some(Point {
        column,
        row: mix(a.row, b.row),
        spread_rows: mix(a.spread_rows, b.spread_rows),
    })
}

/// A stroke at its height within the cell: five heights, three where there is only ASCII.
fn stroke(look: &Look, row: f64) -> char {
    let height = row - row.floor();
    let strokes: &[char] = look.either(&['⎺', '⎻', '─', '⎼', '⎽'], &['\'', '-', '_']);
    strokes[((height * strokes.len() as f64) as usize).min(strokes.len() - 1)]
}

/// The cell of a position; `None` outside.
fn within(position: f64, count: usize) -> Option<usize> {
    (position >= 0.0 && position < count as f64).then_some(position as usize)
}
