//! Who may be played to, and who is away: permits and excuses.

use goodwire_proto::v1::Excuse;
use prost_types::Timestamp;
use rusqlite::{OptionalExtension, Row, params};

use super::{
    Store,
    error::StoreError,
    names::link_of,
    rows::{from_ns, to_ns},
};

/// A permit as it was given.
#[derive(Debug, Clone, PartialEq)]
pub struct Permit {
    /// Who gave it and why.
    pub text: String,
    /// When.
    pub create_time: Timestamp,
    /// Until when; `None`: for as long as one counts.
    pub until_time: Option<Timestamp>,
}

impl Store {
    /// Keeps a permit, in place of the one before.
    ///
    /// # Errors
    /// What writing can meet.
    pub fn set_permit(&self, permit: &Permit) -> Result<(), StoreError> {
        let permit = permit.clone();
        self.write(move |transaction| {
            transaction.execute(
                "INSERT OR REPLACE INTO permit (only_one, text, create_time, until_time)
                 VALUES (1, ?1, ?2, ?3)",
                params![
                    permit.text,
                    to_ns(&permit.create_time),
                    permit.until_time.as_ref().map(to_ns)
                ],
            )?;
            Ok(())
        })
    }

    /// The permit that was given last, whether it still counts or not; `None` where there is none.
    ///
    /// # Errors
    /// What reading can meet.
    pub fn permit(&self) -> Result<Option<Permit>, StoreError> {
        let sql = "SELECT text, create_time, until_time FROM permit";
        self.read(|connection| Ok(connection.query_row(sql, [], permit_of).optional()?))
    }

    /// Takes the permit back; false where there was none.
    ///
    /// # Errors
    /// What writing can meet.
    pub fn withdraw_permit(&self) -> Result<bool, StoreError> {
        self.write(|transaction| Ok(transaction.execute("DELETE FROM permit", [])? > 0))
    }

    /// Keeps until when a link is away, in place of what was said before.
    ///
    /// # Errors
    /// What writing can meet.
    pub fn set_excuse(&self, link: &str, until: &Timestamp, text: &str) -> Result<(), StoreError> {
        let (link, until, text) = (link_of(link).to_owned(), to_ns(until), text.to_owned());
        self.write(move |transaction| {
            transaction.execute(
                "INSERT OR REPLACE INTO excuses (link, until_time, text) VALUES (?1, ?2, ?3)",
                params![link, until, text],
            )?;
            Ok(())
        })
    }

    /// Says that a link is back; false where it was not away.
    ///
    /// # Errors
    /// What writing can meet.
    pub fn clear_excuse(&self, link: &str) -> Result<bool, StoreError> {
        let link = link_of(link).to_owned();
        self.write(move |transaction| {
            Ok(transaction.execute("DELETE FROM excuses WHERE link = ?1", [link])? > 0)
        })
    }

    /// The links that are away at `now`, by name.
    ///
    /// # Errors
    /// What reading can meet.
    pub fn excuses(&self, now: &Timestamp) -> Result<Vec<Excuse>, StoreError> {
        let sql = "SELECT link, until_time, text FROM excuses WHERE until_time > ?1 ORDER BY link";
        self.read(|connection| {
            let mut statement = connection.prepare_cached(sql)?;
            let rows = statement.query_map([to_ns(now)], excuse_of)?;
            Ok(rows.collect::<Result<_, _>>()?)
        })
    }
}

fn permit_of(row: &Row<'_>) -> rusqlite::Result<Permit> {
    Ok(Permit {
        text: row.get(0)?,
        create_time: from_ns(row.get(1)?),
        until_time: row.get::<_, Option<i64>>(2)?.map(from_ns),
    })
}

fn excuse_of(row: &Row<'_>) -> rusqlite::Result<Excuse> {
    Ok(Excuse {
        link: format!("links/{}", row.get::<_, String>(0)?),
        until_time: Some(from_ns(row.get(1)?)),
        text: row.get(2)?,
    })
}
