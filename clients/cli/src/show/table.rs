//! Tables that fit the terminal.

use super::{
    look::{Look, Paint},
    mark::Mark,
};

/// Spaces before the first column, and between two columns.
const SPACED: (usize, usize) = (2, 2);
/// The same where every character counts.
const TIGHT: (usize, usize) = (0, 1);
/// A column that may be shortened keeps so much at least.
const SHORT_MIN: usize = 8;

/// Which side the text of a column stands on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// For words.
    Left,
    /// For numbers.
    Right,
    /// For words that may be shortened where the line is too long.
    Short,
}

/// One cell.
#[derive(Debug, Clone, Default)]
pub struct Cell {
    text: String,
    paint: Option<Paint>,
}

impl<T: Into<String>> From<T> for Cell {
    fn from(text: T) -> Self {
        Self {
            text: text.into(),
            paint: None,
        }
    }
}

impl Cell {
    /// A mark's shape and word in its colour.
    pub fn mark(look: &Look, mark: Mark) -> Self {
        Self {
            text: mark.text(look),
            paint: Some(mark.paint()),
        }
    }

    /// A mark's shape in its colour.
    pub fn shape(look: &Look, mark: Mark) -> Self {
        Self {
            text: mark.shape(look).to_string(),
            paint: Some(mark.paint()),
        }
    }
}

/// A table with heads.
#[derive(Debug)]
pub struct Table {
    columns: Vec<(String, Side)>,
    /// Spaces before the first column.
    indent: usize,
    /// Spaces between two columns.
    gap: usize,
    rows: Vec<Vec<Cell>>,
}

impl Table {
    /// An empty table with heads.
    pub fn new<H: Into<String>>(columns: impl IntoIterator<Item = (H, Side)>) -> Self {
        Self {
            columns: columns
                .into_iter()
                .map(|(head, side)| (head.into(), side))
                .collect(),
            indent: SPACED.0,
            gap: SPACED.1,
            rows: Vec::new(),
        }
    }

    /// The table without spaces before it, and with one between its columns.
    pub fn tight(self) -> Self {
        let (indent, gap) = TIGHT;
        Self {
            indent,
            gap,
            ..self
        }
    }

    /// Adds a row; cells that are missing at its end stay empty.
    pub fn row<C: Into<Cell>>(&mut self, cells: impl IntoIterator<Item = C>) {
        self.rows.push(cells.into_iter().map(Into::into).collect());
    }

    /// The table as text. A column without any text is left out.
    pub fn render(&self, look: &Look) -> String {
        let widths = self.widths(look);
        let heads = self.columns.iter().map(|(head, _)| Cell {
            text: head.clone(),
            paint: Some(Paint::Dim),
        });
        let head = self.line(look, &widths, &heads.collect::<Vec<_>>());
        head + &self.body(look)
    }

    /// The rows without heads.
    pub fn body(&self, look: &Look) -> String {
        let widths = self.widths(look);
        self.rows
            .iter()
            .map(|row| self.line(look, &widths, row))
            .collect()
    }

    /// How wide each column is; 0 for one that is left out.
    fn widths(&self, look: &Look) -> Vec<usize> {
        let mut widths: Vec<_> = (0..self.columns.len())
            .map(|index| {
                let cells = self.rows.iter().filter_map(|row| row.get(index));
                let widest = cells.map(|cell| length(&cell.text)).max().unwrap_or(0);
                let head = length(&self.columns[index].0);
                if widest == 0 { 0 } else { widest.max(head) }
            })
            .collect();
        let shown = widths.iter().filter(|width| **width > 0).count();
        let total = self.indent + widths.iter().sum::<usize>() + self.gap * shown.saturating_sub(1);
        let mut too_much = total.saturating_sub(look.width);
        for (width, (_, side)) in widths.iter_mut().zip(&self.columns) {
            if *side == Side::Short {
                let cut = too_much.min(width.saturating_sub(SHORT_MIN));
                *width -= cut;
                too_much -= cut;
            }
        }
        widths
    }

    fn line(&self, look: &Look, widths: &[usize], cells: &[Cell]) -> String {
        let mut line = " ".repeat(self.indent);
        // Painted text is longer than it looks; spaces are put off until more text follows.
        let mut owed = 0;
        for ((width, (_, side)), cell) in widths
            .iter()
            .zip(&self.columns)
            .zip(cells.iter().chain(std::iter::repeat(&Cell::default())))
        {
            if *width == 0 {
                continue;
            }
            let text = shorten(look, &cell.text, *width);
            let free = width - length(&text);
            let (before, after) = if *side == Side::Right {
                (free, 0)
            } else {
                (0, free)
            };
            owed += before;
            if !text.is_empty() {
                line.push_str(&" ".repeat(owed));
                owed = 0;
                line.push_str(
                    &cell
                        .paint
                        .map_or(text.clone(), |paint| look.paint(paint, &text)),
                );
            }
            owed += after + self.gap;
        }
        line.push('\n');
        line
    }
}

/// Characters of a text.
fn length(text: &str) -> usize {
    text.chars().count()
}

/// The text, with an ellipsis where it is longer than the column.
fn shorten(look: &Look, text: &str, width: usize) -> String {
    if length(text) <= width {
        return text.to_owned();
    }
    let ellipsis = look.either('…', '~');
    text.chars()
        .take(width.saturating_sub(1))
        .chain([ellipsis])
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const LOOK: Look = Look {
        width: 30,
        unicode: true,
        colour: false,
    };

    fn table() -> Table {
        let mut table = Table::new([
            ("link", Side::Short),
            ("gain dB", Side::Right),
            ("empty", Side::Left),
            ("verdict", Side::Left),
        ]);
        table.row(["lectern", "-0.42", "", "pass"]);
        table.row(["a-very-long-name", "", "", "fail"]);
        table.row(["foyer", "12"]);
        table
    }

    #[test]
    fn a_table_fits_30_columns_and_leaves_out_what_is_empty() {
        assert_eq!(
            table().render(&LOOK),
            "  link        gain dB  verdict\n  \
               lectern       -0.42  pass\n  \
               a-very-lo…           fail\n  \
               foyer            12\n"
        );
    }

    #[test]
    fn colour_changes_no_column() {
        let colour = Look {
            colour: true,
            ..LOOK
        };
        let painted = table().render(&colour);
        let mut plain = String::new();
        let mut rest = painted.as_str();
        while let Some((before, after)) = rest.split_once('\x1b') {
            plain.push_str(before);
            rest = after.split_once('m').unwrap().1;
        }
        plain.push_str(rest);
        assert_eq!(plain, table().render(&LOOK));
    }
}
