//! What running watches have seen so far, kept until each has ended.

use std::time::Duration;

use goodwire_proto::plugin::v1::OpenRequest;
use prost::Message;
use prost_types::Timestamp;
use rusqlite::{Row, Transaction, params};

use super::{
    Store,
    error::StoreError,
    names::id_of,
    rows::{from_ns, to_ns},
};

/// A watch as far as it has come.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptWatch {
    /// Name of the measurement.
    pub measurement: String,
    /// What a session is opened with to go on, its state included.
    pub open: OpenRequest,
    /// True where it goes on by itself after a restart.
    pub resumes: bool,
    /// Frame up to which it was seen.
    pub frame: u64,
    /// Id of the machine's start, see [`crate::clock::boot_id`].
    pub boot: String,
    /// When that frame was heard, by [`crate::clock::since_boot`].
    pub since_boot: Duration,
    /// The same by the wall clock.
    pub time: Timestamp,
}

impl Store {
    /// Keeps a watch in place of what was kept of it before.
    ///
    /// # Errors
    /// What writing can meet; also where the measurement was never created.
    pub fn keep_watch(&self, watch: &KeptWatch) -> Result<(), StoreError> {
        let (watch, open) = (watch.clone(), watch.open.encode_to_vec());
        self.write(move |transaction| {
            transaction.execute(
                "INSERT OR REPLACE INTO watches
                 (measurement, open, resumes, frame, boot, since_boot, time)
                 SELECT id, ?2, ?3, ?4, ?5, ?6, ?7 FROM measurements WHERE id = ?1 AND state < 3",
                params![
                    id_of(&watch.measurement),
                    open,
                    watch.resumes,
                    i64::try_from(watch.frame).unwrap_or(i64::MAX),
                    watch.boot,
                    i64::try_from(watch.since_boot.as_nanos()).unwrap_or(i64::MAX),
                    to_ns(&watch.time),
                ],
            )?;
            Ok(())
        })
    }

    /// Every watch that has not ended, oldest first.
    ///
    /// # Errors
    /// What reading can meet.
    pub fn kept_watches(&self) -> Result<Vec<KeptWatch>, StoreError> {
        let sql = "SELECT measurement, resumes, frame, boot, since_boot, time, open
                   FROM watches ORDER BY measurement";
        self.read(|connection| {
            let mut statement = connection.prepare_cached(sql)?;
            let rows = statement.query_map([], |row| Ok((watch_of(row)?, row.get(6)?)))?;
            rows.map(|row| {
                let (watch, open): (KeptWatch, Vec<u8>) = row?;
                Ok(KeptWatch {
                    open: OpenRequest::decode(open.as_slice())?,
                    ..watch
                })
            })
            .collect()
        })
    }

    /// Whether anything is kept of a watch.
    ///
    /// # Errors
    /// What reading can meet.
    pub fn keeps_watch(&self, name: &str) -> Result<bool, StoreError> {
        let sql = "SELECT count(*) FROM watches WHERE measurement = ?1";
        let count = |row: &Row<'_>| row.get::<_, i64>(0);
        self.read(|connection| Ok(connection.query_row(sql, [id_of(name)], count)? > 0))
    }
}

/// Forgets a watch that has ended.
pub(super) fn forget(transaction: &Transaction<'_>, id: &str) -> Result<(), StoreError> {
    transaction.execute("DELETE FROM watches WHERE measurement = ?1", [id])?;
    Ok(())
}

/// All of a row but what is opened.
fn watch_of(row: &Row<'_>) -> rusqlite::Result<KeptWatch> {
    let positive = |column| row.get::<_, i64>(column).map(i64::unsigned_abs);
    Ok(KeptWatch {
        measurement: format!("measurements/{}", row.get::<_, String>(0)?),
        open: OpenRequest::default(),
        resumes: row.get(1)?,
        frame: positive(2)?,
        boot: row.get(3)?,
        since_boot: Duration::from_nanos(positive(4)?),
        time: from_ns(row.get(5)?),
    })
}
