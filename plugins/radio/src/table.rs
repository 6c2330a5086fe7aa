//! The user's own channel table: what the manual of a link says it can be set to.

use std::collections::HashMap;
use std::fmt;

use crate::band::Band;
use crate::units::{self, UnitError};

/// Most rows of a table.
pub const ROW_COUNT_MAX: usize = 1_000;

/// Most pairs of overlapping channels that are told by name.
const PAIRS_TOLD: usize = 20;

/// One row as it was typed.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// What the manual and the link's display call the channel.
    pub name: String,
    /// Its centre in MHz.
    pub centre_mhz: f64,
    /// Its bandwidth in MHz.
    pub bandwidth_mhz: f64,
}

/// A channel that the link can be set to.
#[derive(Debug, Clone, PartialEq)]
pub struct Channel {
    /// What its table calls it.
    pub name: String,
    /// Where it is.
    pub band: Band,
}

/// A table that was checked: at least one channel, all names different.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    channels: Vec<Channel>,
}

/// What is wrong with a table. Rows count from 1.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum TableError {
    /// There is no row.
    #[error("the channel table is empty: type in the channels that the link's manual lists")]
    Empty,
    /// There are too many rows.
    #[error("the channel table has {row_count} rows, at most {ROW_COUNT_MAX} can be planned")]
    TooManyRows {
        /// Number of rows.
        row_count: usize,
    },
    /// A channel has no name.
    #[error("row {row} has no name: give it the one the link's display shows")]
    NoName {
        /// Row from 1.
        row: usize,
    },
    /// Two channels have one name.
    #[error("rows {first} and {second} are both called {name:?}: each channel needs its own name")]
    SameName {
        /// The name.
        name: String,
        /// Row from 1 that has it first.
        first: usize,
        /// Row from 1 that has it again.
        second: usize,
    },
    /// The centre is none.
    #[error("row {row} ({name}): centre_mhz: {source}")]
    Centre {
        /// Row from 1.
        row: usize,
        /// Its name.
        name: String,
        /// What is wrong with it.
        source: UnitError,
    },
    /// The bandwidth is none.
    #[error("row {row} ({name}): bandwidth_mhz: {source}")]
    Bandwidth {
        /// Row from 1.
        row: usize,
        /// Its name.
        name: String,
        /// What is wrong with it.
        source: UnitError,
    },
}

/// Everything that is wrong with a table, in the order of its rows.
#[derive(Debug, Clone, PartialEq)]
pub struct TableErrors(pub Vec<TableError>);

impl fmt::Display for TableErrors {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        let told: Vec<String> = self.0.iter().map(ToString::to_string).collect();
        formatter.write_str(&told.join("; "))
    }
}

impl std::error::Error for TableErrors {}

/// Channels of a table that overlap. Many tables do so on purpose, so that it is a warning: they
/// cannot be used at the same time, and no plan uses them so.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Overlaps {
    /// How many pairs overlap.
    pub pair_count: usize,
    /// The names of the first 20 pairs, in the order of the table.
    pub told: Vec<[String; 2]>,
}

impl Table {
    /// Checks the rows of a table.
    ///
    /// # Errors
    ///
    /// Everything that is wrong at once, so that it can be mended at once; at most one per row.
    pub fn check(rows: &[Row]) -> Result<Self, TableErrors> {
        if rows.is_empty() {
            return Err(TableErrors(vec![TableError::Empty]));
        }
        if rows.len() > ROW_COUNT_MAX {
            let row_count = rows.len();
            return Err(TableErrors(vec![TableError::TooManyRows { row_count }]));
        }
        let mut seen = HashMap::new();
        let (mut channels, mut errors) = (Vec::new(), Vec::new());
        for (index, row) in rows.iter().enumerate() {
            match channel(index + 1, row, &mut seen) {
                Ok(channel) => channels.push(channel),
                Err(error) => errors.push(error),
            }
        }
        if errors.is_empty() {
            Ok(Self { channels })
        } else {
            Err(TableErrors(errors))
        }
    }

    /// The channels in the order of the rows.
    #[must_use]
    pub fn channels(&self) -> &[Channel] {
        &self.channels
    }

    /// Where each channel is, in the order of the rows.
    #[must_use]
    pub fn bands(&self) -> Vec<Band> {
        self.channels.iter().map(|channel| channel.band).collect()
    }

    /// Which channels overlap, if any do.
    #[must_use]
    pub fn overlaps(&self) -> Option<Overlaps> {
        let (mut pair_count, mut told) = (0, Vec::new());
        for (index, first) in self.channels.iter().enumerate() {
            for second in &self.channels[index + 1..] {
                if first.band.overlaps(&second.band) {
                    pair_count += 1;
                    if told.len() < PAIRS_TOLD {
                        told.push([first.name.clone(), second.name.clone()]);
                    }
                }
            }
        }
        (pair_count > 0).then_some(Overlaps { pair_count, told })
    }
}

/// Checks one row; `seen` holds the rows of the names so far.
fn channel(
    row: usize,
    typed: &Row,
    seen: &mut HashMap<String, usize>,
) -> Result<Channel, TableError> {
    let name = typed.name.trim().to_owned();
    if name.is_empty() {
        return Err(TableError::NoName { row });
    }
    if let Some(&first) = seen.get(&name) {
        let second = row;
        return Err(TableError::SameName {
            name,
            first,
            second,
        });
    }
    seen.insert(name.clone(), row);
    let named = || name.clone();
    let centre_mhz =
        units::frequency_mhz(typed.centre_mhz).map_err(|source| TableError::Centre {
            row,
            name: named(),
            source,
        })?;
    let bandwidth_mhz =
        units::bandwidth_mhz(typed.bandwidth_mhz, centre_mhz).map_err(|source| {
            TableError::Bandwidth {
                row,
                name: named(),
                source,
            }
        })?;
    let band = Band::around(centre_mhz, bandwidth_mhz)
        .expect("a centre of 20 MHz or more and a width of a fifth of it at most make a band");
    Ok(Channel { name, band })
}
