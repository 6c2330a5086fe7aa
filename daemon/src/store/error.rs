//! Why the store cannot do what it was asked.

use std::path::PathBuf;

use rusqlite::{Error, ErrorCode};

/// Why the store cannot do what it was asked.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The state folder cannot be made, read or written.
    #[error(
        "the state folder {dir} cannot be used: {text}; \
         make it writable for this user, or give another one with --state"
    )]
    Folder {
        /// The folder.
        dir: PathBuf,
        /// What the system says.
        text: String,
    },
    /// Another daemon uses the state folder.
    #[error(
        "the state folder {dir} is used by another goodwired{}; \
         end that one, or give this one a folder of its own with --state",
        pid.map_or(String::new(), |pid| format!(" (process {pid})"))
    )]
    InUse {
        /// The folder.
        dir: PathBuf,
        /// The other daemon's process, where it is known.
        pid: Option<u32>,
    },
    /// A newer goodwired has written the file.
    #[error(
        "{file} has schema {found}, and this goodwired knows schemas up to {known}; \
         use the newer goodwired that wrote it, or another folder with --state"
    )]
    NewerSchema {
        /// The file.
        file: PathBuf,
        /// Its schema.
        found: i64,
        /// The newest schema that is known.
        known: i64,
    },
    /// The file belongs to another program.
    #[error(
        "{file} is a database of another program; \
         move it away, or give another folder with --state"
    )]
    Foreign {
        /// The file.
        file: PathBuf,
    },
    /// SQLite itself may lose committed data before 3.51.3 (<https://sqlite.org/wal.html>).
    #[error("goodwired was built with SQLite {found}, and needs 3.51.3 or newer")]
    OldSqlite {
        /// The version that was found.
        found: String,
    },
    /// The disk is full. Nothing was changed; it works again as soon as there is room.
    #[error("the disk with the state folder is full, so nothing could be stored; make room there")]
    Full,
    /// The disk failed while it was written. From now on nothing more is stored.
    #[error("the disk with the state folder failed: {text}; check it, then start goodwired again")]
    Io {
        /// What the system says.
        text: String,
    },
    /// The disk has failed before, so that nothing can be promised any more.
    #[error(
        "the disk with the state folder has failed before, so nothing more is stored; \
         check it, then start goodwired again"
    )]
    DiskFailed,
    /// The file is damaged. At the next start it is moved aside.
    #[error("the store's file is damaged: {text}; start goodwired again, which moves it aside")]
    Damaged {
        /// What SQLite says.
        text: String,
    },
    /// There is no such measurement.
    #[error("there is no measurement {name}")]
    NotFound {
        /// The name that was asked for.
        name: String,
    },
    /// The measurement has ended before; what is stored of it stays.
    #[error("the measurement {name} has ended before, and stays as it is")]
    Ended {
        /// Its name.
        name: String,
    },
    /// The measurement is not in the right state for what was asked.
    #[error("the measurement {name} {text}")]
    State {
        /// Its name.
        name: String,
        /// What is wrong with its state, and what would be right.
        text: &'static str,
    },
    /// The page token is none that a list with the same filter gave.
    #[error("the page token is none of this list; give the one of the page before, unchanged")]
    PageToken,
    /// The page size is negative.
    #[error("the page size is {got}, and must be 0 or more")]
    PageSize {
        /// The page size that was asked for.
        got: i32,
    },
    /// A mistake in goodwired itself.
    #[error("the store failed by a mistake of its own: {text}")]
    Internal {
        /// What went wrong.
        text: String,
    },
}

impl From<Error> for StoreError {
    fn from(error: Error) -> Self {
        let text = error.to_string();
        match error.sqlite_error_code() {
            Some(ErrorCode::DiskFull) => Self::Full,
            Some(
                ErrorCode::SystemIoFailure
                | ErrorCode::ReadOnly
                | ErrorCode::CannotOpen
                | ErrorCode::PermissionDenied,
            ) => Self::Io { text },
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => Self::Damaged { text },
            _ => Self::Internal { text },
        }
    }
}

impl From<prost::DecodeError> for StoreError {
    fn from(error: prost::DecodeError) -> Self {
        Self::Damaged {
            text: error.to_string(),
        }
    }
}
