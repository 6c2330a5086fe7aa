//! Histories: the figures of every live measurement of a link by themselves, filled when a
//! measurement ends, so that ten years of one figure are read in a moment.

use goodwire_proto::v1::{Figure, Measurement, measurement::State, verdict::Outcome};
use prost::Message;
use prost_types::{Struct, Timestamp};
use rusqlite::{Connection, OptionalExtension, Row, Transaction, params};

use super::{
    Store,
    error::StoreError,
    names::{id_of, link_of},
    rows::{from_ns, to_ns},
    transact,
};
use crate::judge::asked_place;

/// Which history is meant.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct HistoryQuery {
    /// The link, with or without `links/`.
    pub link: String,
    /// Bare id of the analysis.
    pub analysis: String,
    /// Id of the figure.
    pub figure: String,
    /// What was asked for; where within a band an extreme lay does not count. `None`: the whole.
    pub at: Option<Struct>,
    /// Only of measurements that were asked for at or after this time.
    pub since: Option<Timestamp>,
}

/// The history of one figure of a link at one place.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct History {
    /// Unit of the values; empty for counts and for a figure that never was.
    pub unit: String,
    /// In order of time.
    pub points: Vec<HistoryPoint>,
    /// Index of the first point since which setup and baseline are what they are now; as many as
    /// there are points where the baseline is newer than all.
    pub anew: usize,
}

/// A figure of one measurement.
#[derive(Debug, Clone, PartialEq)]
pub struct HistoryPoint {
    /// When the measurement was asked for.
    pub time: Timestamp,
    /// `measurements/{id}`.
    pub measurement: String,
    /// In the unit of the history.
    pub value: f64,
    /// One standard deviation; `None` where the figure has none.
    pub uncertainty: Option<f64>,
    /// A hash of setup and rig: points with another one are of another setup.
    setup: i64,
}

impl History {
    /// The points from which on the setup is another than that of the point before.
    pub fn setup_changes(&self) -> impl Iterator<Item = &HistoryPoint> {
        let pairs = self.points.windows(2);
        pairs.filter_map(|pair| (pair[0].setup != pair[1].setup).then_some(&pair[1]))
    }
}

/// A figure of a link of which there is a history.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Series {
    /// Bare id of the analysis.
    pub analysis: String,
    /// Id of the figure.
    pub figure: String,
    /// What was asked for; empty for the whole.
    pub at: Struct,
    /// Unit of the values; empty for counts.
    pub unit: String,
}

/// How a measurement ended, and what was said of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Said {
    /// When the measurement was asked for.
    pub time: Timestamp,
    /// Its final state.
    pub state: State,
    /// What the limits said; unspecified where none did.
    pub outcome: Outcome,
}

impl Store {
    /// The figures of a link of which there are histories, in the order in which they were first
    /// measured.
    ///
    /// # Errors
    /// What reading can meet.
    pub fn series(&self, link: &str) -> Result<Vec<Series>, StoreError> {
        let sql = "SELECT analysis, figure, place, unit FROM series WHERE link = ?1 ORDER BY id";
        self.read(|connection| {
            let mut statement = connection.prepare_cached(sql)?;
            let mut rows = statement.query([link_of(link)])?;
            let mut series = Vec::new();
            while let Some(row) = rows.next()? {
                let at: Vec<u8> = row.get(2)?;
                series.push(Series {
                    analysis: row.get(0)?,
                    figure: row.get(1)?,
                    at: Struct::decode(at.as_slice())?,
                    unit: row.get(3)?,
                });
            }
            Ok(series)
        })
    }

    /// What was said of the ended measurements of a link by an analysis since a time, in their
    /// order. Matches are left out: a cable stood in the link's place.
    ///
    /// # Errors
    /// What reading can meet.
    pub fn said(
        &self,
        link: &str,
        analysis: &str,
        since: Option<&Timestamp>,
    ) -> Result<Vec<Said>, StoreError> {
        let sql = "SELECT create_time, state, coalesce(outcome, 0) FROM measurements
                   LEFT JOIN judgements ON measurement = id
                   WHERE link = ?1 AND analysis = ?2 AND create_time >= ?3 AND state >= 3
                     AND NOT is_match ORDER BY id";
        let key = params![link_of(link), analysis, since.map_or(i64::MIN, to_ns)];
        self.read(|connection| {
            let mut statement = connection.prepare_cached(sql)?;
            let rows = statement.query_map(key, |row| {
                Ok(Said {
                    time: from_ns(row.get(0)?),
                    state: State::try_from(row.get::<_, i32>(1)?).unwrap_or_default(),
                    outcome: Outcome::try_from(row.get::<_, i32>(2)?).unwrap_or_default(),
                })
            })?;
            Ok(rows.collect::<Result<_, _>>()?)
        })
    }

    /// Reads a history; it is empty where the figure was never measured.
    ///
    /// # Errors
    /// What reading can meet.
    pub fn history(&self, query: &HistoryQuery) -> Result<History, StoreError> {
        let link = link_of(&query.link);
        let place = asked_place(query.at.as_ref()).encode_to_vec();
        let since = query.since.as_ref().map_or(i64::MIN, to_ns);
        self.read(|connection| {
            let sql = "SELECT id, unit FROM series
                       WHERE link = ?1 AND analysis = ?2 AND figure = ?3 AND place = ?4";
            let mut statement = connection.prepare_cached(sql)?;
            let key = params![link, query.analysis, query.figure, place];
            let series = |row: &Row<'_>| Ok((row.get::<_, i64>(0)?, row.get(1)?));
            let Some((id, unit)) = statement.query_row(key, series).optional()? else {
                return Ok(History::default());
            };
            let sql = "SELECT time, measurement, value, uncertainty, setup FROM figures
                       WHERE series = ?1 AND time >= ?2 ORDER BY time, measurement";
            let mut statement = connection.prepare_cached(sql)?;
            let points = statement.query_map(params![id, since], point_of)?;
            let points = points.collect::<Result<Vec<HistoryPoint>, _>>()?;
            let anew = anew(&points, baseline_time(connection, link, &query.analysis)?);
            Ok(History { unit, points, anew })
        })
    }
}

fn baseline_time(
    connection: &Connection,
    link: &str,
    analysis: &str,
) -> Result<Option<i64>, StoreError> {
    // The baseline's own measurement is the first of what follows it.
    let sql = "SELECT measurements.create_time FROM baselines
               JOIN measurements ON measurements.id = baselines.measurement
               WHERE baselines.link = ?1 AND baselines.analysis = ?2";
    let mut statement = connection.prepare_cached(sql)?;
    let time = statement.query_row([link, analysis], |row| row.get(0));
    Ok(time.optional()?)
}

/// The first point of the present setup and baseline.
fn anew(points: &[HistoryPoint], baseline_ns: Option<i64>) -> usize {
    let Some(last) = points.last() else { return 0 };
    let of_another = |point: &HistoryPoint| {
        let is_older = baseline_ns.is_some_and(|ns| to_ns(&point.time) < ns);
        is_older || point.setup != last.setup
    };
    points
        .iter()
        .rposition(of_another)
        .map_or(0, |index| index + 1)
}

fn point_of(row: &Row<'_>) -> rusqlite::Result<HistoryPoint> {
    let id = uuid::Uuid::from_bytes(row.get(1)?);
    Ok(HistoryPoint {
        time: from_ns(row.get(0)?),
        measurement: format!("measurements/{}", id.hyphenated()),
        value: row.get(2)?,
        uncertainty: row.get(3)?,
        setup: row.get(4)?,
    })
}

/// Keeps the figures of a measurement that has ended, where it is one of a history: live, on a
/// link, SUCCEEDED, and no cable in the link's place.
pub(super) fn keep(
    transaction: &Transaction<'_>,
    measurement: &Measurement,
) -> Result<(), StoreError> {
    let is_of_a_history = measurement.state() == State::Succeeded
        && !(measurement.link.is_empty() || measurement.is_match || measurement.recorded);
    let id = uuid::Uuid::try_parse(id_of(&measurement.name));
    let (true, Ok(id)) = (is_of_a_history, id) else {
        return Ok(());
    };
    let time = measurement.create_time.as_ref().map_or(0, to_ns);
    let setup = setup_hash(measurement);
    let mut statement = transaction.prepare_cached(
        "INSERT OR IGNORE INTO figures (series, time, measurement, setup, value, uncertainty)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?;
    for figure in &measurement.figures {
        let Some(value) = figure.value.filter(|value| value.is_finite()) else {
            continue;
        };
        let series = series_of(transaction, measurement, figure)?;
        let uncertainty = figure.uncertainty;
        let row = params![series, time, id.as_bytes(), setup, value, uncertainty];
        statement.execute(row)?;
    }
    Ok(())
}

/// The series of a figure, which is begun where it is new.
fn series_of(
    transaction: &Transaction<'_>,
    measurement: &Measurement,
    figure: &Figure,
) -> Result<i64, StoreError> {
    let link = link_of(&measurement.link);
    let place = asked_place(figure.at.as_ref()).encode_to_vec();
    let key = params![link, measurement.analysis, figure.id, place];
    let sql = "SELECT id FROM series
               WHERE link = ?1 AND analysis = ?2 AND figure = ?3 AND place = ?4";
    let mut statement = transaction.prepare_cached(sql)?;
    if let Some(id) = statement.query_row(key, |row| row.get(0)).optional()? {
        return Ok(id);
    }
    let sql = "INSERT INTO series (link, analysis, figure, place, unit)
               VALUES (?1, ?2, ?3, ?4, ?5)";
    let row = params![link, measurement.analysis, figure.id, place, figure.unit];
    transaction.execute(sql, row)?;
    Ok(transaction.last_insert_rowid())
}

/// The first eight bytes of a hash over all keys and values, and over whether the link is simulated.
fn setup_hash(measurement: &Measurement) -> i64 {
    let mut entries: Vec<(&String, &String)> = measurement.setup.iter().collect();
    entries.sort_unstable();
    let text = format!("{} {entries:?}", measurement.simulated);
    let hash = blake3::hash(text.as_bytes());
    let first = hash
        .as_bytes()
        .first_chunk()
        .expect("32 bytes are more than 8");
    i64::from_le_bytes(*first)
}

/// Fills the histories from the results of a file that was written before there were any.
pub(super) fn fill(connection: &mut Connection) -> Result<(), StoreError> {
    transact(connection, |transaction| {
        let sql = "SELECT NOT EXISTS (SELECT 1 FROM figures)";
        if !transaction.query_row(sql, [], |row| row.get(0))? {
            return Ok(());
        }
        let mut statement =
            transaction.prepare("SELECT result FROM measurements WHERE state = 3")?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let result: Vec<u8> = row.get(0)?;
            keep(transaction, &Measurement::decode(result.as_slice())?)?;
        }
        Ok(())
    })
}
