//! A spectrum as a table: frequency and level, with a header that names the units.

use super::{SurveyError, wrong};
use crate::band::Band;
use crate::units::frequency_mhz;

/// Units of a frequency and how many of them make 1 MHz.
const FREQUENCY_UNITS: [(&str, f64); 4] = [("hz", 1e6), ("khz", 1e3), ("mhz", 1.0), ("ghz", 1e-3)];

/// Units of a level. Which one it is matters to the threshold alone.
const LEVEL_UNITS: [&str; 5] = ["dbm", "dbuv", "dbµv", "dbfs", "db"];

/// What a text without points gets to hear.
const RIGHT: &str = "a spectrum has a header such as `frequency_mhz,level_dbm` and at least two \
                     lines of numbers";

/// Levels over frequency.
#[derive(Debug, Clone, PartialEq)]
pub struct Spectrum {
    /// Frequencies in MHz, rising, at least two.
    frequencies_mhz: Vec<f64>,
    /// A level for each, in [`Spectrum::level_unit`].
    levels_db: Vec<f64>,
    level_unit: &'static str,
}

impl Spectrum {
    /// Reads a header and lines of two or more columns, of which the first two count.
    ///
    /// Separated by commas, semicolons or tabs; but for commas, decimal commas are understood.
    /// Empty lines and those that begin with `#` are passed over.
    ///
    /// # Errors
    ///
    /// A header without units, words for numbers, frequencies that do not rise or cannot be meant
    /// in the header's unit, fewer than two points.
    pub fn parse(text: &str) -> Result<Self, SurveyError> {
        let mut lines = text
            .lines()
            .enumerate()
            .map(|(index, line)| (index + 1, line.trim().trim_start_matches('\u{feff}')))
            .filter(|(_, line)| !line.is_empty() && !line.starts_with('#'));
        let (line, header) = lines.next().ok_or(SurveyError::Empty { right: RIGHT })?;
        let columns = Columns::read(header).map_err(|what| wrong(line, what))?;
        let (mut frequencies_mhz, mut levels_db) = (Vec::new(), Vec::new());
        for (line, text) in lines {
            let [mhz, level_db] = columns.numbers(text).map_err(|what| wrong(line, what))?;
            if let Some(last) = frequencies_mhz.last().filter(|&&last| mhz <= last) {
                let what = format!("frequencies have to rise, {mhz} MHz comes after {last} MHz");
                return Err(wrong(line, what));
            }
            frequencies_mhz.push(mhz);
            levels_db.push(level_db);
        }
        if frequencies_mhz.len() < 2 {
            return Err(SurveyError::Empty { right: RIGHT });
        }
        Ok(Self {
            frequencies_mhz,
            levels_db,
            level_unit: columns.level_unit,
        })
    }

    /// Unit of the levels, in small letters: `dbm`, `dbuv`, `dbµv`, `dbfs` or `db`.
    #[must_use]
    pub fn level_unit(&self) -> &'static str {
        self.level_unit
    }

    /// The bands in which the level is `threshold_db` or more, in the spectrum's own unit.
    ///
    /// Each point stands for what lies nearer to it than to its neighbours, the first and the last
    /// as far out as in.
    #[must_use]
    pub fn bands_above(&self, threshold_db: f64) -> Vec<Band> {
        let is_above = |index: &usize| self.levels_db[*index] >= threshold_db;
        let mut bands = Vec::new();
        let mut index = 0;
        while index < self.levels_db.len() {
            let end = index + (index..self.levels_db.len()).take_while(is_above).count();
            if end > index {
                let (low_mhz, high_mhz) = (self.edge_mhz(index), self.edge_mhz(end));
                bands.extend(Band::from_edges(low_mhz, high_mhz));
            }
            index = end + 1;
        }
        bands
    }

    /// True where every point lies in `band`.
    pub(super) fn is_all_in(&self, band: &Band) -> bool {
        let is_in = |mhz: &f64| (band.low_mhz()..=band.high_mhz()).contains(mhz);
        self.frequencies_mhz.iter().all(is_in)
    }

    /// The edge in MHz between the points `index - 1` and `index`, also before the first and
    /// after the last.
    fn edge_mhz(&self, index: usize) -> f64 {
        let f = &self.frequencies_mhz;
        let between = |at: usize| f64::midpoint(f[at - 1], f[at]);
        if index == 0 {
            2.0 * f[0] - between(1)
        } else if index == f.len() {
            2.0 * f[index - 1] - between(index - 1)
        } else {
            between(index)
        }
    }
}

/// What the header says.
struct Columns {
    separator: char,
    units_a_mhz: f64,
    level_unit: &'static str,
}

impl Columns {
    fn read(header: &str) -> Result<Self, String> {
        let separator = [';', '\t', ',']
            .into_iter()
            .find(|&separator| header.contains(separator))
            .ok_or("two columns are needed, separated by a comma, a semicolon or a tab")?;
        let mut cells = header.split(separator).map(str::to_lowercase);
        let (first, second) = (cells.next(), cells.next());
        let units_a_mhz = unit(first.as_deref(), |word| {
            let found = FREQUENCY_UNITS.iter().find(|(unit, _)| *unit == word);
            found.map(|&(_, units)| units)
        });
        let level_unit = unit(second.as_deref(), |word| {
            LEVEL_UNITS.into_iter().find(|&unit| unit == word)
        });
        match (units_a_mhz, level_unit) {
            (Some(units_a_mhz), Some(level_unit)) => Ok(Self {
                separator,
                units_a_mhz,
                level_unit,
            }),
            _ => Err(format!(
                "{header:?} does not name the units: begin with a header such as \
                 `frequency_mhz,level_dbm`"
            )),
        }
    }

    /// Frequency in MHz and level of one line.
    fn numbers(&self, text: &str) -> Result<[f64; 2], String> {
        let mut cells = text.split(self.separator);
        let mut number = || -> Result<f64, String> {
            let cell = cells.next().unwrap_or_default().trim();
            let plain = if self.separator == ',' {
                cell.to_owned()
            } else {
                cell.replace(',', ".")
            };
            let number = plain.parse().ok().filter(|number: &f64| !number.is_nan());
            number.ok_or_else(|| format!("{cell:?} is not a number"))
        };
        let (frequency, level_db) = (number()?, number()?);
        let mhz = frequency / self.units_a_mhz;
        let mhz = frequency_mhz(mhz)
            .map_err(|error| format!("{frequency} in the header's unit is not likely: {error}"))?;
        Ok([mhz, level_db])
    }
}

/// The first word of a header's cell that is a unit.
fn unit<T>(cell: Option<&str>, known: impl Fn(&str) -> Option<T>) -> Option<T> {
    cell?
        .split(|letter: char| !letter.is_alphanumeric())
        .find_map(known)
}
