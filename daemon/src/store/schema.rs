//! The schema and its migrations, which are numbered and only go forward.

use std::path::{Path, PathBuf};

use rusqlite::{Connection, TransactionBehavior, backup::Progress};

use super::error::StoreError;

/// Marks the file as ours: "gdwr".
const APPLICATION_ID: i64 = 0x6764_7772;

/// The WAL-reset bug is mended from this version on: <https://sqlite.org/wal.html#walresetbug>.
const SQLITE_VERSION_MIN: i32 = 3_051_003;

/// Migration k brings a file from schema k to schema k + 1. A migration that was ever in a
/// release is never changed: add another one.
pub(super) const MIGRATIONS: [&str; 6] = [
    include_str!("schema/1_begin.sql"),
    include_str!("schema/2_sounds.sql"),
    include_str!("schema/3_rounds.sql"),
    include_str!("schema/4_figures.sql"),
    include_str!("schema/5_outbox.sql"),
    include_str!("schema/6_watches.sql"),
];

/// Refuses a SQLite that may lose committed data.
pub(super) fn check_sqlite(version: i32) -> Result<(), StoreError> {
    if version >= SQLITE_VERSION_MIN {
        return Ok(());
    }
    let (major, minor, patch) = (
        version / 1_000_000,
        version / 1_000 % 1_000,
        version % 1_000,
    );
    Err(StoreError::OldSqlite {
        found: format!("{major}.{minor}.{patch}"),
    })
}

/// Brings the file to the newest schema; an older file is copied before.
pub(super) fn migrate(
    connection: &mut Connection,
    file: &Path,
    migrations: &[&str],
) -> Result<(), StoreError> {
    let pragma = |name| connection.pragma_query_value(None, name, |row| row.get::<_, i64>(0));
    let (found, application) = (pragma("user_version")?, pragma("application_id")?);
    let known = i64::try_from(migrations.len()).expect("a handful");
    let table_count: i64 =
        connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
    if application != APPLICATION_ID && (table_count > 0 || application != 0) {
        return Err(StoreError::Foreign {
            file: file.to_owned(),
        });
    }
    if found > known {
        return Err(StoreError::NewerSchema {
            file: file.to_owned(),
            found,
            known,
        });
    }
    if 0 < found && found < known {
        connection.backup("main", backup_file(file, found), None::<fn(Progress)>)?;
    }
    for (version, statements) in (0..).zip(migrations) {
        if version < found {
            continue;
        }
        let behavior = TransactionBehavior::Immediate;
        let transaction = connection.transaction_with_behavior(behavior)?;
        transaction.execute_batch(statements)?;
        transaction.pragma_update(None, "application_id", APPLICATION_ID)?;
        transaction.pragma_update(None, "user_version", version + 1)?;
        transaction.commit()?;
    }
    Ok(())
}

/// Where the copy of a file goes before it is migrated: `goodwire.sqlite3.schema-1`.
pub(super) fn backup_file(file: &Path, schema: i64) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(format!(".schema-{schema}"));
    name.into()
}
