//! Runs of rounds and their due dates: each due date has one entry, a run or the word that it was
//! missed, however often the clock steps over it.

use goodwire_proto::v1::{Reason, Run, run::State, verdict::Outcome};
use prost::Message;
use prost_types::Timestamp;
use rusqlite::{Connection, OptionalExtension, Row, Transaction, params};

use super::{
    Store,
    error::StoreError,
    pages::page_size,
    rows::{from_ns, to_ns},
    transact,
};
use crate::clock::SharedClock;

/// Which runs are listed.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RunQuery {
    /// Only of this round; empty: of all.
    pub round: String,
    /// Only due or begun at or after this time.
    pub since: Option<Timestamp>,
    /// At most so many; 0 means 50, above 500 is taken as 500.
    pub page_size: i32,
    /// `next_page_token` of the page before; empty: the first page.
    pub page_token: String,
}

/// What is known of the due dates of a round at a moment.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Past {
    /// The latest due date, not after that moment, that has an entry.
    pub handled_time: Option<Timestamp>,
    /// Due dates that were run, from the asked time on.
    pub run_times: Vec<Timestamp>,
}

impl Store {
    /// Begins a run. Where its due date was run before, or its request was made before, nothing is
    /// begun and that run is given; one that was only missed or interrupted is replaced.
    ///
    /// # Errors
    /// What writing can meet.
    pub fn begin_run(&self, run: &Run, request_id: &str) -> Result<Run, StoreError> {
        let (run, request_id) = (run.clone(), request_id.to_owned());
        self.write(move |transaction| {
            if let Some(first) = first_of(transaction, &run, &request_id)? {
                return Ok(first);
            }
            let request_id = (!request_id.is_empty()).then_some(request_id);
            insert(transaction, &run, request_id.as_deref())?;
            if let Some(due) = &run.due_time {
                enter(transaction, &run, due, false)?;
            }
            Ok(run)
        })
    }

    /// Keeps how far a run has come; in its final state for ever.
    ///
    /// # Errors
    /// [`StoreError::NotFound`] where it never began, or has ended; what writing can meet.
    pub fn update_run(&self, run: &Run) -> Result<(), StoreError> {
        let run = run.clone();
        self.write(move |transaction| update(transaction, &run))
    }

    /// Keeps the end of a run; where it is to be told, a message of it has to go out from now on.
    ///
    /// # Errors
    /// As [`Store::update_run`].
    pub fn end_run(&self, run: &Run, is_to_be_told: bool) -> Result<(), StoreError> {
        let run = run.clone();
        self.write(move |transaction| {
            update(transaction, &run)?;
            if is_to_be_told {
                be_told(transaction, &run)?;
            }
            Ok(())
        })
    }

    /// Enters due dates that were missed; those that have an entry keep it.
    ///
    /// # Errors
    /// What writing can meet.
    pub fn miss_runs(&self, missed: Vec<Run>, are_to_be_told: bool) -> Result<(), StoreError> {
        self.write(move |transaction| {
            for run in missed {
                let Some(due) = &run.due_time else { continue };
                if entry(transaction, &run.round, due)?.is_none() {
                    insert(transaction, &run, None)?;
                    enter(transaction, &run, due, true)?;
                    if are_to_be_told {
                        be_told(transaction, &run)?;
                    }
                }
            }
            Ok(())
        })
    }

    /// Gets a run with everything.
    ///
    /// # Errors
    /// [`StoreError::NotFound`], and what reading can meet.
    pub fn run(&self, name: &str) -> Result<Run, StoreError> {
        let found = self.read(|connection| {
            one(
                connection,
                "SELECT run FROM runs WHERE id = ?1",
                &[bare(name)],
            )
        })?;
        found.ok_or_else(|| StoreError::NotFound {
            name: name.to_owned(),
        })
    }

    /// The last run or missed due date of a round; `None` where there was none.
    ///
    /// # Errors
    /// What reading can meet.
    pub fn last_run(&self, round: &str) -> Result<Option<Run>, StoreError> {
        let sql = "SELECT run FROM runs WHERE round = ?1 ORDER BY id DESC LIMIT 1";
        self.read(|connection| one(connection, sql, &[bare(round)]))
    }

    /// Lists runs, newest first, with the token of the next page.
    ///
    /// # Errors
    /// [`StoreError::PageSize`], [`StoreError::PageToken`], and what reading can meet.
    pub fn runs(&self, query: &RunQuery) -> Result<(Vec<Run>, String), StoreError> {
        let size = page_size(query.page_size)?;
        let before = match query.page_token.as_str() {
            "" => "~".to_owned(),
            token => uuid::Uuid::try_parse(token)
                .map_err(|_| StoreError::PageToken)?
                .hyphenated()
                .to_string(),
        };
        let since = query.since.as_ref().map_or(i64::MIN, to_ns);
        let sql = "SELECT run FROM runs WHERE id < ?1 AND time >= ?2 AND (?3 = '' OR round = ?3)
                   ORDER BY id DESC LIMIT ?4";
        let limit = i64::try_from(size + 1).unwrap_or(i64::MAX);
        let mut runs = self.read(|connection| {
            let mut statement = connection.prepare_cached(sql)?;
            let rows = statement
                .query_map(params![before, since, bare(&query.round), limit], |row| {
                    Ok(run_of(row))
                })?;
            rows.map(|row| row?)
                .collect::<Result<Vec<Run>, StoreError>>()
        })?;
        let has_more = runs.len() > size;
        runs.truncate(size);
        let last = runs.last().filter(|_| has_more);
        let token = last.map(|last| bare(&last.name).to_owned());
        Ok((runs, token.unwrap_or_default()))
    }

    /// What is known at `now` of the due dates of a round; those that were run, from `since` on.
    ///
    /// # Errors
    /// What reading can meet.
    pub fn past(
        &self,
        round: &str,
        now: &Timestamp,
        since: &Timestamp,
    ) -> Result<Past, StoreError> {
        let (now, since) = (to_ns(now), to_ns(since));
        self.read(|connection| {
            let sql = "SELECT max(time) FROM due_dates WHERE round = ?1 AND time <= ?2";
            let handled: Option<i64> =
                connection.query_row(sql, params![round, now], |row| row.get(0))?;
            let sql = "SELECT time FROM due_dates
                       WHERE round = ?1 AND time >= ?2 AND NOT missed ORDER BY time";
            let mut statement = connection.prepare_cached(sql)?;
            let times = statement.query_map(params![round, since], |row| row.get(0))?;
            Ok(Past {
                handled_time: handled.map(from_ns),
                run_times: times
                    .map(|ns| Ok(from_ns(ns?)))
                    .collect::<Result<_, StoreError>>()?,
            })
        })
    }

    /// Since when a round has this schedule; from `now` on where it is new.
    ///
    /// # Errors
    /// What writing can meet.
    pub fn scheduled_since(
        &self,
        round: &str,
        schedule: &str,
        now: &Timestamp,
    ) -> Result<Timestamp, StoreError> {
        let (round, schedule, now) = (round.to_owned(), schedule.to_owned(), to_ns(now));
        self.write(move |transaction| {
            let time = transaction.query_row(
                "INSERT INTO schedules (round, schedule, time) VALUES (?1, ?2, ?3)
                 ON CONFLICT DO UPDATE SET
                   time = CASE WHEN schedule = excluded.schedule THEN time ELSE excluded.time END,
                   schedule = excluded.schedule
                 RETURNING time",
                params![round, schedule, now],
                |row| row.get(0),
            )?;
            Ok(from_ns(time))
        })
    }
}

/// Ends what still ran when the last daemon ended. A message of each has to go out, and its due
/// date may be run once more: a second time it stays as it is, so that a round that ends the
/// daemon cannot do so all night.
pub(super) fn interrupt_unfinished(
    connection: &mut Connection,
    clock: &SharedClock,
) -> Result<(), StoreError> {
    transact(connection, |transaction| {
        let mut statement = transaction.prepare("SELECT run FROM runs WHERE state < 2")?;
        let unfinished: Vec<Run> = statement
            .query_map([], |row| Ok(run_of(row)))?
            .map(|row| row?)
            .collect::<Result<_, StoreError>>()?;
        for mut run in unfinished {
            run.set_state(State::Ended);
            run.set_outcome(Outcome::Unmeasured);
            run.end_time = Some(clock.timestamp());
            run.reason = Some(Reason {
                id: "interrupted".to_owned(),
                text: "The daemon ended during the run; what was measured before is kept.".into(),
                ..Reason::default()
            });
            transaction.execute(
                "UPDATE runs SET state = ?2, run = ?3 WHERE id = ?1",
                params![bare(&run.name), run.state, run.encode_to_vec()],
            )?;
            be_told(transaction, &run)?;
            if !was_run_before(transaction, &run)? {
                let sql = "UPDATE due_dates SET missed = 1 WHERE run = ?1";
                transaction.execute(sql, [bare(&run.name)])?;
            }
        }
        Ok(())
    })
}

/// Whether another run of the same due date has ended before.
fn was_run_before(transaction: &Transaction<'_>, run: &Run) -> Result<bool, StoreError> {
    let sql = "SELECT EXISTS (SELECT 1 FROM runs
               WHERE round = ?1 AND time = ?2 AND state = ?3 AND id < ?4)";
    let time = run.due_time.as_ref().map_or(0, to_ns);
    let ended = i32::from(State::Ended);
    let key = params![bare(&run.round), time, ended, bare(&run.name)];
    Ok(transaction.query_row(sql, key, |row| row.get(0))?)
}

fn update(transaction: &Transaction<'_>, run: &Run) -> Result<(), StoreError> {
    let changed = transaction.execute(
        "UPDATE runs SET state = ?2, run = ?3 WHERE id = ?1 AND state < 2",
        params![bare(&run.name), run.state, run.encode_to_vec()],
    )?;
    if changed == 1 {
        return Ok(());
    }
    Err(StoreError::NotFound {
        name: run.name.clone(),
    })
}

fn be_told(transaction: &Transaction<'_>, run: &Run) -> Result<(), StoreError> {
    let sql = "INSERT OR IGNORE INTO untold (run) VALUES (?1)";
    transaction.execute(sql, [bare(&run.name)])?;
    Ok(())
}

/// The run that a due date or a request has already.
fn first_of(
    transaction: &Transaction<'_>,
    run: &Run,
    request_id: &str,
) -> Result<Option<Run>, StoreError> {
    if !request_id.is_empty() {
        let sql = "SELECT run FROM runs WHERE request_id = ?1";
        if let Some(first) = one(transaction, sql, &[request_id])? {
            return Ok(Some(first));
        }
    }
    let Some(due) = &run.due_time else {
        return Ok(None);
    };
    match entry(transaction, &run.round, due)? {
        Some((id, false)) => one(transaction, "SELECT run FROM runs WHERE id = ?1", &[&id]),
        _ => Ok(None),
    }
}

/// The entry of a due date: its run, and whether it was missed.
fn entry(
    transaction: &Transaction<'_>,
    round: &str,
    due: &Timestamp,
) -> Result<Option<(String, bool)>, StoreError> {
    let sql = "SELECT run, missed FROM due_dates WHERE round = ?1 AND time = ?2";
    let row = transaction.query_row(sql, params![bare(round), to_ns(due)], |row| {
        Ok((row.get(0)?, row.get(1)?))
    });
    Ok(row.optional()?)
}

fn enter(
    transaction: &Transaction<'_>,
    run: &Run,
    due: &Timestamp,
    missed: bool,
) -> Result<(), StoreError> {
    transaction.execute(
        "INSERT OR REPLACE INTO due_dates (round, time, missed, run) VALUES (?1, ?2, ?3, ?4)",
        params![bare(&run.round), to_ns(due), missed, bare(&run.name)],
    )?;
    Ok(())
}

fn insert(
    transaction: &Transaction<'_>,
    run: &Run,
    request_id: Option<&str>,
) -> Result<(), StoreError> {
    let time = run.due_time.as_ref().or(run.start_time.as_ref());
    transaction.execute(
        "INSERT INTO runs (id, round, request_id, time, state, run)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        params![
            bare(&run.name),
            bare(&run.round),
            request_id,
            time.map_or(0, to_ns),
            run.state,
            run.encode_to_vec()
        ],
    )?;
    Ok(())
}

fn one(connection: &Connection, sql: &str, key: &[&str]) -> Result<Option<Run>, StoreError> {
    let mut statement = connection.prepare_cached(sql)?;
    let key = rusqlite::params_from_iter(key);
    let found = statement.query_row(key, |row| Ok(run_of(row))).optional()?;
    found.transpose()
}

pub(super) fn run_of(row: &Row<'_>) -> Result<Run, StoreError> {
    Ok(Run::decode(row.get::<_, Vec<u8>>(0)?.as_slice())?)
}

/// A run's or a round's name without its collection.
pub(super) fn bare(name: &str) -> &str {
    name.rsplit_once('/').map_or(name, |(_, bare)| bare)
}
