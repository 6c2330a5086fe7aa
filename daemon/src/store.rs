//! The store: keeps every measurement for ever, in one SQLite file in the state folder.
//!
//! One thread alone writes, fed by a channel; reads use short-lived statements on connections of
//! their own. A call that changes something returns after the change is on the disk. All calls
//! block: callers in asynchronous code use `spawn_blocking`.
//!
//! Links may be named with or without `links/`, measurements with or without `measurements/`.

mod connection;
mod curves;
mod error;
mod figures;
mod folder;
mod import;
mod keep;
mod leave;
mod measurements;
mod names;
mod outbox;
mod pages;
mod rows;
mod runs;
mod schema;
mod sounds;
mod watches;

#[cfg(test)]
mod tests;

use std::{
    path::{Path, PathBuf},
    sync::{
        Arc, Mutex, PoisonError,
        atomic::{AtomicBool, Ordering},
        mpsc,
    },
    thread::JoinHandle,
};

use goodwire_proto::v1::Note;
use rusqlite::{Connection, Transaction, TransactionBehavior};

pub use error::StoreError;
pub use figures::{History, HistoryPoint, HistoryQuery, Said, Series};
pub use leave::Permit;
pub use names::{new_name, new_run_name};
pub use outbox::Waiting;
pub use pages::{ListQuery, Page};
pub use runs::{Past, RunQuery};
pub use watches::KeptWatch;

use crate::clock::SharedClock;
use folder::FolderLock;

/// The store. Clones share one file, one writer and one lock.
#[derive(Debug, Clone)]
pub struct Store {
    shared: Arc<Shared>,
}

type Job = Box<dyn FnOnce(&mut Connection) + Send>;

#[derive(Debug)]
struct Shared {
    file: PathBuf,
    clock: SharedClock,
    jobs: Option<mpsc::Sender<Job>>,
    writer: Option<JoinHandle<()>>,
    readers: Mutex<Vec<Connection>>,
    /// Set for ever once the disk failed: a repeated fsync may succeed though data is gone.
    disk_failed: AtomicBool,
    interrupted: Vec<String>,
    notes: Vec<Note>,
    /// Dropped last: the folder is free when everything is closed.
    _lock: FolderLock,
}

/// So many idle connections are kept for reading.
const READERS_KEPT: usize = 4;

impl Store {
    /// Opens the store in a folder, which is made where there is none, and locks the folder.
    ///
    /// What was queued or running becomes FAILED `interrupted`, but for watches of which something
    /// is kept, see [`Store::kept_watches`]. An older schema is migrated after
    /// a backup; a damaged file is moved aside and a new one begun, see [`Store::notes`].
    ///
    /// # Errors
    /// [`StoreError::Folder`], [`StoreError::InUse`], [`StoreError::Full`],
    /// [`StoreError::NewerSchema`], [`StoreError::Foreign`], [`StoreError::OldSqlite`].
    pub fn open(dir: &Path, clock: SharedClock) -> Result<Self, StoreError> {
        schema::check_sqlite(rusqlite::version_number())?;
        let lock = FolderLock::take(dir)?;
        let (mut connection, file, notes) = folder::open_database(dir, &clock)?;
        figures::fill(&mut connection)?;
        let interrupted = measurements::interrupt_unfinished(&mut connection, &clock)?;
        runs::interrupt_unfinished(&mut connection, &clock)?;
        let (jobs, queue) = mpsc::channel::<Job>();
        let writer = std::thread::Builder::new()
            .name("store".to_owned())
            .spawn(move || {
                for job in queue {
                    job(&mut connection);
                }
            })
            .map_err(|error| StoreError::Internal {
                text: error.to_string(),
            })?;
        let shared = Shared {
            file,
            clock,
            jobs: Some(jobs),
            writer: Some(writer),
            readers: Mutex::default(),
            disk_failed: AtomicBool::new(false),
            interrupted,
            notes,
            _lock: lock,
        };
        Ok(Self {
            shared: Arc::new(shared),
        })
    }

    /// Names of the measurements that were queued or running when the last daemon ended, and are
    /// now FAILED `interrupted`.
    #[must_use]
    pub fn interrupted(&self) -> &[String] {
        &self.shared.interrupted
    }

    /// What somebody should know of the file: that a damaged one was moved aside, for example.
    #[must_use]
    pub fn notes(&self) -> &[Note] {
        &self.shared.notes
    }

    /// False once the disk has failed: from then on nothing is stored.
    #[must_use]
    pub fn is_healthy(&self) -> bool {
        !self.shared.disk_failed.load(Ordering::Acquire)
    }

    /// How many bytes can still be written to the disk with the state folder.
    ///
    /// # Errors
    /// [`StoreError::Io`] where the system does not say.
    pub fn free_bytes(&self) -> Result<u64, StoreError> {
        let disk = rustix::fs::statvfs(&self.shared.file).map_err(|error| StoreError::Io {
            text: error.to_string(),
        })?;
        Ok(disk.f_bavail.saturating_mul(disk.f_frsize))
    }

    /// Runs `work` in one transaction on the writer's thread; returns when it is on the disk.
    fn write<T: Send + 'static>(
        &self,
        work: impl FnOnce(&Transaction<'_>) -> Result<T, StoreError> + Send + 'static,
    ) -> Result<T, StoreError> {
        let shared = &self.shared;
        if !self.is_healthy() {
            return Err(StoreError::DiskFailed);
        }
        let (answer, answered) = mpsc::sync_channel(1);
        let job: Job = Box::new(move |connection| {
            // The caller waits for the answer, so it can only be gone in a panic.
            let _ = answer.send(transact(connection, work));
        });
        let ended = || StoreError::Internal {
            text: "the store's writer has ended".to_owned(),
        };
        let jobs = shared
            .jobs
            .as_ref()
            .expect("present until the store is dropped");
        jobs.send(job).map_err(|_| ended())?;
        let result = answered.recv().map_err(|_| ended())?;
        if let Err(StoreError::Io { .. }) = &result {
            shared.disk_failed.store(true, Ordering::Release);
        }
        result
    }

    /// Runs `work` on a connection for reading.
    fn read<T>(
        &self,
        work: impl FnOnce(&Connection) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let shared = &self.shared;
        let idle = shared
            .readers
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .pop();
        let connection = match idle {
            Some(connection) => connection,
            None => connection::open_for_reading(&shared.file)?,
        };
        let result = work(&connection);
        let mut readers = shared
            .readers
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        if readers.len() < READERS_KEPT {
            readers.push(connection);
        }
        result
    }
}

/// IMMEDIATE: a transaction that only later wants to write could be refused at once.
fn transact<T>(
    connection: &mut Connection,
    work: impl FnOnce(&Transaction<'_>) -> Result<T, StoreError>,
) -> Result<T, StoreError> {
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let value = work(&transaction)?;
    transaction.commit()?;
    Ok(value)
}

impl Drop for Shared {
    /// Ends the writer, which closes its connection, before the folder is unlocked.
    fn drop(&mut self) {
        self.readers
            .get_mut()
            .unwrap_or_else(PoisonError::into_inner)
            .clear();
        self.jobs = None;
        if let Some(writer) = self.writer.take() {
            // A writer that panicked has nothing left to finish.
            let _ = writer.join();
        }
    }
}
