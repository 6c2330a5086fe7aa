//! What is kept beside measurements: baselines, matches, calibrations, the hold, and what was last
//! said of a link.

use goodwire_proto::v1::{
    Baseline, Calibration, HoldState, LinkCheck, Measurement, calibration::Side,
    measurement::State, verdict::Outcome,
};
use prost_types::Timestamp;
use rusqlite::{Connection, OptionalExtension, Row, Transaction, params};

use super::{
    Store,
    error::StoreError,
    measurements::{get, insert},
    names::{id_of, link_of},
    rows::{from_ns, to_ns},
};

impl Store {
    /// Makes a measurement the baseline of a link and an analysis, in place of the one before.
    ///
    /// # Errors
    /// [`StoreError::NotFound`]; [`StoreError::State`] where it has not SUCCEEDED; and what
    /// writing can meet.
    pub fn set_baseline(
        &self,
        link: &str,
        analysis: &str,
        measurement: &str,
        time: Timestamp,
    ) -> Result<Baseline, StoreError> {
        let baseline = Baseline {
            link: format!("links/{}", link_of(link)),
            analysis: analysis.to_owned(),
            measurement: format!("measurements/{}", id_of(measurement)),
            create_time: Some(time),
        };
        self.write(move |transaction| {
            refuse_unsuccessful(transaction, &baseline.measurement)?;
            write_baseline(transaction, &baseline)?;
            Ok(baseline)
        })
    }

    /// Stores a measurement of another machine, where it is not here yet, and makes it the baseline
    /// of its link and analysis. The link's last figures stay as they are.
    ///
    /// # Errors
    /// What writing can meet.
    pub fn import_baseline(
        &self,
        measurement: &Measurement,
        time: Timestamp,
    ) -> Result<Baseline, StoreError> {
        let measurement = measurement.clone();
        self.write(move |transaction| {
            if matches!(
                get(transaction, &measurement.name),
                Err(StoreError::NotFound { .. })
            ) {
                insert(transaction, &measurement, None, 0)?;
                let end = measurement.end_time.as_ref().map(to_ns);
                let sql = "UPDATE measurements SET end_time = ?2 WHERE id = ?1";
                transaction.execute(sql, params![id_of(&measurement.name), end])?;
            }
            let baseline = Baseline {
                link: measurement.link,
                analysis: measurement.analysis,
                measurement: measurement.name,
                create_time: Some(time),
            };
            write_baseline(transaction, &baseline)?;
            Ok(baseline)
        })
    }

    /// All baselines, by link and analysis.
    ///
    /// # Errors
    /// What reading can meet.
    pub fn baselines(&self) -> Result<Vec<Baseline>, StoreError> {
        let sql = "SELECT link, analysis, measurement, create_time FROM baselines
                   ORDER BY link, analysis";
        self.read(|connection| all(connection, sql, baseline_of))
    }

    /// Forgets a baseline; false where there was none. Its measurement stays.
    ///
    /// # Errors
    /// What writing can meet.
    pub fn clear_baseline(&self, link: &str, analysis: &str) -> Result<bool, StoreError> {
        let (link, analysis) = (link_of(link).to_owned(), analysis.to_owned());
        self.write(move |transaction| {
            let sql = "DELETE FROM baselines WHERE link = ?1 AND analysis = ?2";
            Ok(transaction.execute(sql, [link, analysis])? > 0)
        })
    }

    /// The baseline's measurement with everything; `None` where none is set.
    ///
    /// # Errors
    /// What reading can meet.
    pub fn baseline(&self, link: &str, analysis: &str) -> Result<Option<Measurement>, StoreError> {
        let sql = "SELECT measurement FROM baselines WHERE link = ?1 AND analysis = ?2";
        self.read(|connection| named_by(connection, sql, &[link_of(link), analysis]))
    }

    /// The newest measurement with a result that was made before this one of the same link and
    /// analysis, in the same way (live or recorded, simulated or real); `None` where there is none.
    /// Matches are left out: a cable stood in the link's place.
    ///
    /// # Errors
    /// What reading can meet.
    pub fn measurement_before(
        &self,
        measurement: &Measurement,
    ) -> Result<Option<Measurement>, StoreError> {
        let sql = "SELECT id FROM measurements
                   WHERE link = ?1 AND analysis = ?2 AND id < ?3 AND state = 3 AND NOT is_match
                   ORDER BY id DESC";
        let alike = |other: &Measurement| {
            (other.simulated, other.recorded) == (measurement.simulated, measurement.recorded)
        };
        self.read(|connection| {
            let mut statement = connection.prepare_cached(sql)?;
            let key = [
                link_of(&measurement.link),
                &measurement.analysis,
                id_of(&measurement.name),
            ];
            let mut rows = statement.query(key)?;
            while let Some(row) = rows.next()? {
                let other = get(connection, &row.get::<_, String>(0)?)?;
                if alike(&other) {
                    return Ok(Some(other));
                }
            }
            Ok(None)
        })
    }

    /// Puts a match in force for a link. [`Store::finish`] does it by itself; this is for a match
    /// that was made earlier.
    ///
    /// # Errors
    /// [`StoreError::NotFound`]; [`StoreError::State`] where it has not SUCCEEDED; and what
    /// writing can meet.
    pub fn set_match(&self, link: &str, measurement: &str) -> Result<(), StoreError> {
        let (link, measurement) = (link.to_owned(), measurement.to_owned());
        self.write(move |transaction| {
            refuse_unsuccessful(transaction, &measurement)?;
            write_match(transaction, &link, &measurement)
        })
    }

    /// The match in force for a link, with everything; `None` where its paths were never matched.
    ///
    /// # Errors
    /// What reading can meet.
    pub fn current_match(&self, link: &str) -> Result<Option<Measurement>, StoreError> {
        let sql = "SELECT measurement FROM matches WHERE link = ?1";
        self.read(|connection| named_by(connection, sql, &[link_of(link)]))
    }

    /// Keeps what full scale is at a send or return, in place of what was said before.
    ///
    /// # Errors
    /// What writing can meet.
    pub fn set_calibration(&self, calibration: &Calibration) -> Result<(), StoreError> {
        let calibration = *calibration;
        let time = calibration
            .create_time
            .unwrap_or_else(|| self.shared.clock.timestamp());
        self.write(move |transaction| {
            transaction.execute(
                "INSERT OR REPLACE INTO calibrations (side, channel, volts, create_time)
                 VALUES (?1, ?2, ?3, ?4)",
                params![
                    calibration.side,
                    calibration.channel,
                    calibration.volts,
                    to_ns(&time)
                ],
            )?;
            Ok(())
        })
    }

    /// All calibrations, sends first, by number.
    ///
    /// # Errors
    /// What reading can meet.
    pub fn calibrations(&self) -> Result<Vec<Calibration>, StoreError> {
        let sql = "SELECT side, channel, volts, create_time FROM calibrations
                   ORDER BY side, channel";
        self.read(|connection| all(connection, sql, calibration_of))
    }

    /// Sets the hold. Where there is one already, its text is replaced and its time stays.
    ///
    /// # Errors
    /// What writing can meet.
    pub fn set_hold(&self, text: &str) -> Result<HoldState, StoreError> {
        let (text, time) = (text.to_owned(), to_ns(&self.shared.clock.timestamp()));
        self.write(move |transaction| {
            let held = transaction.query_row(
                "INSERT INTO hold (only_one, text, create_time) VALUES (1, ?1, ?2)
                 ON CONFLICT DO UPDATE SET text = excluded.text RETURNING text, create_time",
                params![text, time],
                hold_of,
            )?;
            Ok(held)
        })
    }

    /// Ends the hold; false where there was none.
    ///
    /// # Errors
    /// What writing can meet.
    pub fn release(&self) -> Result<bool, StoreError> {
        self.write(|transaction| Ok(transaction.execute("DELETE FROM hold", [])? > 0))
    }

    /// The hold; `None` where there is none.
    ///
    /// # Errors
    /// What reading can meet.
    pub fn hold(&self) -> Result<Option<HoldState>, StoreError> {
        self.read(|connection| {
            let sql = "SELECT text, create_time FROM hold";
            Ok(connection.query_row(sql, [], hold_of).optional()?)
        })
    }

    /// The last ended measurement of each analysis of a link, newest first. Matches are left out:
    /// a cable stood in the link's place.
    ///
    /// # Errors
    /// What reading can meet.
    pub fn last_checks(&self, link: &str) -> Result<Vec<LinkCheck>, StoreError> {
        // SQLite takes the other columns from the row that has the largest end_time.
        let sql = "SELECT analysis, id, state, coalesce(outcome, 0), ended FROM (
                       SELECT analysis, id, state, max(end_time) AS ended FROM measurements
                       WHERE link = ?1 AND state >= 3 AND NOT is_match GROUP BY analysis)
                   LEFT JOIN judgements ON measurement = id
                   ORDER BY ended DESC, id DESC";
        self.read(|connection| {
            let mut statement = connection.prepare_cached(sql)?;
            let checks = statement
                .query_map([link_of(link)], check_of)?
                .collect::<Result<_, _>>();
            Ok(checks?)
        })
    }

    /// The figure of that id that was last measured live on the link, on the simulated rig or on
    /// real hardware; `None` where it never was. What one said means nothing for the other.
    ///
    /// # Errors
    /// What reading can meet.
    pub fn last_figure(
        &self,
        link: &str,
        analysis: &str,
        figure: &str,
        simulated: bool,
    ) -> Result<Option<f64>, StoreError> {
        let sql = "SELECT value FROM last_figures
                   WHERE link = ?1 AND analysis = ?2 AND figure = ?3 AND simulated = ?4";
        self.read(|connection| {
            let mut statement = connection.prepare_cached(sql)?;
            let key = params![link_of(link), analysis, figure, simulated];
            Ok(statement.query_row(key, |row| row.get(0)).optional()?)
        })
    }
}

/// Puts a match in force, within a transaction.
pub(super) fn write_match(
    transaction: &Transaction<'_>,
    link: &str,
    measurement: &str,
) -> Result<(), StoreError> {
    let sql = "INSERT OR REPLACE INTO matches (link, measurement) VALUES (?1, ?2)";
    transaction.execute(sql, [link_of(link), id_of(measurement)])?;
    Ok(())
}

fn refuse_unsuccessful(transaction: &Transaction<'_>, name: &str) -> Result<(), StoreError> {
    if get(transaction, name)?.state() == State::Succeeded {
        return Ok(());
    }
    let text = "has not SUCCEEDED, so nothing can be compared with it; give one that has";
    Err(StoreError::State {
        name: name.to_owned(),
        text,
    })
}

/// The measurement whose id a query gives.
fn named_by(
    connection: &Connection,
    sql: &str,
    key: &[&str],
) -> Result<Option<Measurement>, StoreError> {
    let mut statement = connection.prepare_cached(sql)?;
    let key = rusqlite::params_from_iter(key);
    let id: Option<String> = statement.query_row(key, |row| row.get(0)).optional()?;
    id.map(|id| get(connection, &id)).transpose()
}

fn all<T>(
    connection: &Connection,
    sql: &str,
    of: fn(&Row<'_>) -> rusqlite::Result<T>,
) -> Result<Vec<T>, StoreError> {
    let mut statement = connection.prepare_cached(sql)?;
    let rows = statement.query_map([], of)?.collect::<Result<_, _>>();
    Ok(rows?)
}

fn write_baseline(transaction: &Transaction<'_>, baseline: &Baseline) -> Result<(), StoreError> {
    transaction.execute(
        "INSERT OR REPLACE INTO baselines (link, analysis, measurement, create_time)
         VALUES (?1, ?2, ?3, ?4)",
        params![
            link_of(&baseline.link),
            baseline.analysis,
            id_of(&baseline.measurement),
            baseline.create_time.as_ref().map(to_ns)
        ],
    )?;
    Ok(())
}

fn baseline_of(row: &Row<'_>) -> rusqlite::Result<Baseline> {
    Ok(Baseline {
        link: format!("links/{}", row.get::<_, String>(0)?),
        analysis: row.get(1)?,
        measurement: format!("measurements/{}", row.get::<_, String>(2)?),
        create_time: Some(from_ns(row.get(3)?)),
    })
}

fn calibration_of(row: &Row<'_>) -> rusqlite::Result<Calibration> {
    let side = Side::try_from(row.get::<_, i32>(0)?).unwrap_or(Side::Unspecified);
    Ok(Calibration {
        side: side.into(),
        channel: row.get(1)?,
        volts: row.get(2)?,
        create_time: Some(from_ns(row.get(3)?)),
    })
}

fn hold_of(row: &Row<'_>) -> rusqlite::Result<HoldState> {
    Ok(HoldState {
        text: row.get(0)?,
        create_time: Some(from_ns(row.get(1)?)),
    })
}

fn check_of(row: &Row<'_>) -> rusqlite::Result<LinkCheck> {
    let state = State::try_from(row.get::<_, i32>(2)?).unwrap_or(State::Unspecified);
    let outcome = Outcome::try_from(row.get::<_, i32>(3)?).unwrap_or(Outcome::Unspecified);
    Ok(LinkCheck {
        analysis: row.get(0)?,
        measurement: format!("measurements/{}", row.get::<_, String>(1)?),
        state: state.into(),
        outcome: outcome.into(),
        end_time: row.get::<_, Option<i64>>(4)?.map(from_ns),
    })
}
