//! Measurements: their life from QUEUED to one of the final states.

use goodwire_proto::{
    plugin::v1::Sound,
    v1::{Measurement, Reason, measurement::State},
};
use prost::Message;
use rusqlite::{Connection, OptionalExtension, Transaction, named_params, params};

use super::{
    Store,
    error::StoreError,
    names::{id_of, link_of},
    rows::{Parts, is_final, join, split, to_ns},
    sounds, transact,
};
use crate::clock::SharedClock;

const GET: &str = "SELECT result, curves, judgement FROM measurements
    LEFT JOIN judgements ON judgements.measurement = id WHERE ";

impl Store {
    /// Stores new measurements, all or none; they are QUEUED or RUNNING.
    ///
    /// Where `request_id` was used before, nothing is stored, and the measurements of that time
    /// are returned as they are now. A `create_time` that is absent is set.
    ///
    /// # Errors
    /// [`StoreError::State`] for one that has ended already, and what writing can meet.
    pub fn create(
        &self,
        measurements: &[Measurement],
        request_id: Option<&str>,
    ) -> Result<Vec<Measurement>, StoreError> {
        let mut new = measurements.to_vec();
        for measurement in &mut new {
            refuse_final(measurement)?;
            measurement
                .create_time
                .get_or_insert_with(|| self.shared.clock.timestamp());
        }
        let request_id = request_id.filter(|id| !id.is_empty()).map(str::to_owned);
        self.write(move |transaction| {
            if let Some(request_id) = &request_id {
                let first = of_request(transaction, request_id)?;
                if !first.is_empty() {
                    return Ok(first);
                }
            }
            for (index, measurement) in (0..).zip(&new) {
                insert(transaction, measurement, request_id.as_deref(), index)?;
            }
            Ok(new)
        })
    }

    /// Stores what has changed of a measurement that goes on: that it is RUNNING now, for example.
    ///
    /// # Errors
    /// [`StoreError::Ended`] where it has ended, [`StoreError::NotFound`] where it was never
    /// created, [`StoreError::State`] where this would end it, and what writing can meet.
    pub fn update(&self, measurement: &Measurement) -> Result<(), StoreError> {
        refuse_final(measurement)?;
        let (name, state, parts) = (
            measurement.name.clone(),
            measurement.state,
            split(measurement),
        );
        self.write(move |transaction| {
            let changed = transaction.execute(
                "UPDATE measurements SET state = ?2, result = ?3, curves = ?4
                 WHERE id = ?1 AND state < 3 AND state <= ?2",
                params![id_of(&name), state, parts.result, parts.curves],
            )?;
            if changed == 1 {
                Ok(())
            } else {
                Err(why_unchanged(transaction, &name))
            }
        })
    }

    /// Stores the end of a measurement with its result and judgement, in one transaction. A match
    /// that SUCCEEDED is in force from then on. Returns when all is on the disk.
    ///
    /// # Errors
    /// [`StoreError::Ended`] where it has ended before: that end stays.
    /// [`StoreError::NotFound`] where it was never created, [`StoreError::State`] where the state
    /// is none to end in, and what writing can meet.
    pub fn finish(&self, measurement: &Measurement) -> Result<(), StoreError> {
        self.finish_with_sounds(measurement, Vec::new())
    }

    /// As [`Store::finish`], with sounds for listening in the same transaction.
    ///
    /// # Errors
    /// As [`Store::finish`].
    pub fn finish_with_sounds(
        &self,
        measurement: &Measurement,
        sounds: Vec<Sound>,
    ) -> Result<(), StoreError> {
        refuse_unfinished(measurement)?;
        let mut ended = measurement.clone();
        ended
            .end_time
            .get_or_insert_with(|| self.shared.clock.timestamp());
        self.write(move |transaction| {
            end(transaction, &ended)?;
            sounds::keep(transaction, &ended, &sounds)
        })
    }

    /// Gets a measurement with everything.
    ///
    /// # Errors
    /// [`StoreError::NotFound`], and what reading can meet.
    pub fn get(&self, name: &str) -> Result<Measurement, StoreError> {
        self.read(|connection| get(connection, name))
    }

    /// The measurements of a request, as they are now; none where the id was never used.
    ///
    /// # Errors
    /// What reading can meet.
    pub fn find_request(&self, request_id: &str) -> Result<Vec<Measurement>, StoreError> {
        self.read(|connection| of_request(connection, request_id))
    }
}

pub(super) fn refuse_unfinished(measurement: &Measurement) -> Result<(), StoreError> {
    if is_final(measurement.state()) {
        return Ok(());
    }
    let text = "cannot be finished in a state that is not final";
    Err(StoreError::State {
        name: measurement.name.clone(),
        text,
    })
}

fn refuse_final(measurement: &Measurement) -> Result<(), StoreError> {
    if matches!(measurement.state(), State::Queued | State::Running) {
        return Ok(());
    }
    let text = "has to be QUEUED or RUNNING here; use finish to end it";
    Err(StoreError::State {
        name: measurement.name.clone(),
        text,
    })
}

/// Gets a measurement with everything.
pub(super) fn get(connection: &Connection, name: &str) -> Result<Measurement, StoreError> {
    let mut statement = connection.prepare_cached(&format!("{GET} id = ?1"))?;
    let found = statement
        .query_row([id_of(name)], |row| Ok(join(row, 0, 3)))
        .optional()?;
    found.unwrap_or_else(|| {
        Err(StoreError::NotFound {
            name: name.to_owned(),
        })
    })
}

fn of_request(connection: &Connection, id: &str) -> Result<Vec<Measurement>, StoreError> {
    let sql = format!("{GET} request_id = ?1 ORDER BY request_index");
    let mut statement = connection.prepare_cached(&sql)?;
    statement
        .query_map([id], |row| Ok(join(row, 0, 3)))?
        .map(|found| found?)
        .collect()
}

pub(super) fn insert(
    transaction: &Transaction<'_>,
    measurement: &Measurement,
    request_id: Option<&str>,
    request_index: i64,
) -> Result<(), StoreError> {
    let parts = split(measurement);
    transaction.execute(
        "INSERT INTO measurements (id, link, analysis, state, is_match, create_time,
             request_id, request_index, result, curves)
         VALUES (:id, :link, :analysis, :state, :is_match, :create_time,
             :request_id, :request_index, :result, :curves)",
        named_params! {
            ":id": id_of(&measurement.name),
            ":link": link_of(&measurement.link),
            ":analysis": measurement.analysis,
            ":state": measurement.state,
            ":is_match": measurement.is_match,
            ":create_time": measurement.create_time.as_ref().map(to_ns),
            ":request_id": request_id,
            ":request_index": request_id.map(|_| request_index),
            ":result": parts.result,
            ":curves": parts.curves,
        },
    )?;
    Ok(())
}

/// Ends a measurement that has not ended yet.
pub(super) fn end(
    transaction: &Transaction<'_>,
    measurement: &Measurement,
) -> Result<(), StoreError> {
    let id = id_of(&measurement.name);
    let Parts {
        result,
        curves,
        judgement,
        outcome,
    } = split(measurement);
    let end_time = measurement.end_time.as_ref().map(to_ns);
    let changed = transaction.execute(
        "UPDATE measurements SET state = ?2, end_time = ?3, result = ?4, curves = ?5
         WHERE id = ?1 AND state < 3",
        params![id, measurement.state, end_time, result, curves],
    )?;
    if changed != 1 {
        return Err(why_unchanged(transaction, &measurement.name));
    }
    if let Some(judgement) = judgement {
        transaction.execute(
            "INSERT INTO judgements (measurement, outcome, judgement) VALUES (?1, ?2, ?3)",
            params![id, i32::from(outcome), judgement],
        )?;
    }
    if measurement.state() == State::Succeeded && !measurement.link.is_empty() {
        if measurement.is_match {
            super::keep::write_match(transaction, &measurement.link, &measurement.name)?;
        } else if !measurement.recorded {
            keep_last_figures(transaction, measurement)?;
        }
    }
    super::watches::forget(transaction, id)?;
    super::figures::keep(transaction, measurement)
}

/// Of several figures of one id the first counts.
fn keep_last_figures(
    transaction: &Transaction<'_>,
    measurement: &Measurement,
) -> Result<(), StoreError> {
    let mut statement = transaction.prepare_cached(
        "INSERT INTO last_figures (link, analysis, figure, simulated, value, measurement)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)
         ON CONFLICT DO UPDATE SET value = excluded.value, measurement = excluded.measurement
             WHERE measurement <> excluded.measurement",
    )?;
    for figure in measurement
        .figures
        .iter()
        .filter(|figure| figure.value.is_some())
    {
        statement.execute(params![
            link_of(&measurement.link),
            measurement.analysis,
            figure.id,
            measurement.simulated,
            figure.value,
            id_of(&measurement.name),
        ])?;
    }
    Ok(())
}

fn why_unchanged(transaction: &Transaction<'_>, name: &str) -> StoreError {
    let name = name.to_owned();
    match get(transaction, &name) {
        Ok(stored) if is_final(stored.state()) => StoreError::Ended { name },
        Ok(_) => StoreError::State {
            name,
            text: "is RUNNING already, and cannot be QUEUED again",
        },
        Err(error) => error,
    }
}

/// Ends what an earlier daemon left unfinished, but for kept watches; returns the names.
pub(super) fn interrupt_unfinished(
    connection: &mut Connection,
    clock: &SharedClock,
) -> Result<Vec<String>, StoreError> {
    transact(connection, |transaction| {
        let sql = "SELECT result FROM measurements WHERE state < 3
                   AND id NOT IN (SELECT measurement FROM watches) ORDER BY id";
        let mut statement = transaction.prepare(sql)?;
        let unfinished: Vec<Measurement> = statement
            .query_map([], |row| row.get::<_, Vec<u8>>(0))?
            .map(|bytes| Ok(Measurement::decode(bytes?.as_slice())?))
            .collect::<Result<_, StoreError>>()?;
        let mut names = Vec::new();
        for mut measurement in unfinished {
            let was = if measurement.state() == State::Queued {
                "queued"
            } else {
                "running"
            };
            measurement.set_state(State::Failed);
            measurement.end_time = Some(clock.timestamp());
            measurement.reason = Some(Reason {
                id: "interrupted".to_owned(),
                text: format!(
                    "The daemon ended while the measurement was {was}, so it has no result; \
                     measure again."
                ),
                ..Reason::default()
            });
            end(transaction, &measurement)?;
            names.push(measurement.name);
        }
        Ok(names)
    })
}
