//! The outbox: messages of runs that have still to go out, one a run and way, until each is there
//! or given up. A way that is gone holds up no other.

use goodwire_proto::v1::Run;
use prost_types::Timestamp;
use rusqlite::{Transaction, params};

use super::{
    Store,
    error::StoreError,
    rows::{from_ns, to_ns},
    runs::{bare, run_of},
};

/// A message that has to go out by one way.
#[derive(Debug, Clone, PartialEq)]
pub struct Waiting {
    /// The run that it tells of.
    pub run: Run,
    /// Since when it waits.
    pub since: Timestamp,
}

impl Store {
    /// Forgets what should go by ways other than `ways`, then does as [`Store::address_messages`].
    ///
    /// # Errors
    /// What writing can meet.
    pub fn settle_outbox(&self, ways: &[&'static str]) -> Result<(), StoreError> {
        let (ways, now) = (ways.to_vec(), to_ns(&self.shared.clock.timestamp()));
        self.write(move |transaction| {
            let mut statement = transaction.prepare("SELECT DISTINCT way FROM outbox")?;
            let known = statement.query_map([], |row| row.get(0))?;
            for way in known.collect::<Result<Vec<String>, _>>()? {
                if !ways.contains(&way.as_str()) {
                    transaction.execute("DELETE FROM outbox WHERE way = ?1", [way])?;
                }
            }
            address(transaction, &ways, now)
        })
    }

    /// Puts the message of every run that is to be told into the outbox, once for each way.
    ///
    /// # Errors
    /// What reading and writing can meet.
    pub fn address_messages(&self, ways: &[&'static str]) -> Result<(), StoreError> {
        let is_any = self.read(|connection| {
            let sql = "SELECT EXISTS (SELECT 1 FROM untold)";
            Ok(connection.query_row(sql, [], |row| row.get::<_, bool>(0))?)
        })?;
        if !is_any {
            return Ok(());
        }
        let (ways, now) = (ways.to_vec(), to_ns(&self.shared.clock.timestamp()));
        self.write(move |transaction| address(transaction, &ways, now))
    }

    /// What has to go out by one way, oldest run first.
    ///
    /// # Errors
    /// What reading can meet.
    pub fn outbox(&self, way: &str) -> Result<Vec<Waiting>, StoreError> {
        let sql = "SELECT runs.run, outbox.time FROM outbox JOIN runs ON id = outbox.run
                   WHERE way = ?1 ORDER BY id";
        self.read(|connection| {
            let mut statement = connection.prepare_cached(sql)?;
            let rows = statement.query_map([way], |row| Ok((run_of(row), row.get(1)?)))?;
            rows.map(|row| {
                let (run, time) = row?;
                Ok(Waiting {
                    run: run?,
                    since: from_ns(time),
                })
            })
            .collect()
        })
    }

    /// Takes the message of a run out of the outbox of one way: it is there, or given up.
    ///
    /// # Errors
    /// What writing can meet.
    pub fn take_message(&self, way: &'static str, run: &str) -> Result<(), StoreError> {
        let id = bare(run).to_owned();
        self.write(move |transaction| {
            let sql = "DELETE FROM outbox WHERE way = ?1 AND run = ?2";
            transaction.execute(sql, params![way, id])?;
            Ok(())
        })
    }

    /// How many messages have still to go out, each way counted.
    ///
    /// # Errors
    /// What reading can meet.
    pub fn messages_waiting(&self) -> Result<i64, StoreError> {
        let sql = "SELECT (SELECT count(*) FROM untold) + (SELECT count(*) FROM outbox)";
        self.read(|connection| Ok(connection.query_row(sql, [], |row| row.get(0))?))
    }
}

fn address(
    transaction: &Transaction<'_>,
    ways: &[&'static str],
    now: i64,
) -> Result<(), StoreError> {
    for way in ways {
        let sql = "INSERT OR IGNORE INTO outbox (way, run, time) SELECT ?1, run, ?2 FROM untold";
        transaction.execute(sql, params![way, now])?;
    }
    transaction.execute("DELETE FROM untold", [])?;
    Ok(())
}
