//! Connections to the file, with the settings that keep its promises.

use std::{path::Path, time::Duration};

use rusqlite::{Connection, OpenFlags};

use super::error::StoreError;

/// Up to this size the whole file is checked at every start; a greater one would delay it.
const CHECKED_BYTES_MAX: u64 = 32 << 20;
/// The log is cut back to this size after a checkpoint.
const LOG_BYTES_MAX: i64 = 16 << 20;
/// Nothing but this daemon uses the file, so nobody is waited for long.
const PATIENCE: Duration = Duration::from_secs(5);

/// Opens the file for the writer.
///
/// WAL, so that readers never wait; synchronous FULL, so that what was acknowledged survives a
/// power cut.
pub(super) fn open_for_writing(file: &Path) -> Result<Connection, StoreError> {
    let connection = Connection::open(file)?;
    connection.busy_timeout(PATIENCE)?;
    check(&connection, file)?;
    let mode: String =
        connection.pragma_update_and_check(None, "journal_mode", "WAL", |row| row.get(0))?;
    if mode != "wal" {
        let text = format!("its file system cannot share memory (journal mode {mode})");
        return Err(StoreError::Io { text });
    }
    connection.pragma_update(None, "synchronous", "FULL")?;
    connection.pragma_update(None, "foreign_keys", true)?;
    connection.pragma_update_and_check(None, "journal_size_limit", LOG_BYTES_MAX, |_| Ok(()))?;
    Ok(connection)
}

/// Opens the file for reading alone.
pub(super) fn open_for_reading(file: &Path) -> Result<Connection, StoreError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(file, flags)?;
    connection.busy_timeout(PATIENCE)?;
    connection.pragma_update(None, "query_only", true)?;
    Ok(connection)
}

/// Finds damage before anything is built on it.
fn check(connection: &Connection, file: &Path) -> Result<(), StoreError> {
    // Reads the first page: whatever is no database at all is found here.
    connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| {
        row.get::<_, i64>(0)
    })?;
    let byte_count = std::fs::metadata(file).map_or(0, |data| data.len());
    if byte_count > CHECKED_BYTES_MAX {
        return Ok(());
    }
    let text: String = connection.query_row("PRAGMA quick_check(1)", [], |row| row.get(0))?;
    if text == "ok" {
        Ok(())
    } else {
        Err(StoreError::Damaged { text })
    }
}
