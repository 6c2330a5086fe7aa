//! The state folder: its lock, and what happens to the file in it when the store is opened.

use std::{
    fs::{File, OpenOptions},
    io::{ErrorKind, Read, Seek, Write},
    path::{Path, PathBuf},
    thread,
    time::{Duration, Instant, SystemTime},
};

use goodwire_proto::v1::{Note, note::Level};
use rusqlite::Connection;
use rustix::{
    fs::{FlockOperation, flock},
    io::Errno,
};

use super::{connection, error::StoreError, schema};
use crate::clock::SharedClock;

/// The store's file within the state folder.
const FILE: &str = "goodwire.sqlite3";
/// The lock's file; it holds the process id of the daemon that has the lock.
const LOCK: &str = "goodwire.lock";

/// How long a lock is waited for. A plugin host that is just being started when a daemon is killed
/// shares the lock until it has become its own program, some milliseconds later.
const LOCK_PATIENCE: Duration = Duration::from_millis(500);
/// How often the lock is tried meanwhile.
const LOCK_PAUSE: Duration = Duration::from_millis(10);

/// Keeps other daemons out of a folder for as long as it lives, and no longer: the system gives
/// the lock back however the process ends.
#[derive(Debug)]
pub(super) struct FolderLock {
    _file: File,
}

impl FolderLock {
    /// Makes the folder where there is none, and locks it.
    pub(super) fn take(dir: &Path) -> Result<Self, StoreError> {
        let unusable = |error| folder_error(dir, &error);
        std::fs::create_dir_all(dir).map_err(unusable)?;
        let mut options = OpenOptions::new();
        options.read(true).write(true).create(true).truncate(false);
        let mut file = options.open(dir.join(LOCK)).map_err(unusable)?;
        match lock(&file) {
            Ok(()) => {}
            Err(Errno::WOULDBLOCK) => {
                let mut text = String::new();
                // Whoever has the lock may not have written its number yet.
                let read = file.read_to_string(&mut text).ok();
                let pid = read.and_then(|_| text.trim().parse().ok());
                return Err(StoreError::InUse {
                    dir: dir.to_owned(),
                    pid,
                });
            }
            Err(error) => return Err(unusable(error.into())),
        }
        let mut write = || {
            file.set_len(0)?;
            file.rewind()?;
            writeln!(file, "{}", std::process::id())
        };
        write().map_err(unusable)?;
        Ok(Self { _file: file })
    }
}

/// Tries until the lock is free, or for half a second.
fn lock(file: &File) -> Result<(), Errno> {
    let begun = Instant::now();
    loop {
        match flock(file, FlockOperation::NonBlockingLockExclusive) {
            Err(Errno::WOULDBLOCK) if begun.elapsed() < LOCK_PATIENCE => thread::sleep(LOCK_PAUSE),
            done => return done,
        }
    }
}

fn folder_error(dir: &Path, error: &std::io::Error) -> StoreError {
    match error.kind() {
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => StoreError::Full,
        _ => StoreError::Folder {
            dir: dir.to_owned(),
            text: error.to_string(),
        },
    }
}

/// Opens the file for writing, with the newest schema; a damaged one is moved aside first.
pub(super) fn open_database(
    dir: &Path,
    clock: &SharedClock,
) -> Result<(Connection, PathBuf, Vec<Note>), StoreError> {
    let file = dir.join(FILE);
    let mut notes = Vec::new();
    // A file system that does not say what it is counts as a local one.
    if rustix::fs::statfs(dir).is_ok_and(|system| is_on_network(system.f_type)) {
        notes.push(network_note(dir));
    }
    let opened = match open_and_check(&file) {
        Err(StoreError::Damaged { text }) => {
            let aside = move_aside(&file, clock).map_err(|error| folder_error(dir, &error))?;
            notes.push(damaged_note(&aside, &text));
            open_and_check(&file)
        }
        other => other,
    };
    let connection = opened.map_err(|error| match error {
        StoreError::Io { text } => StoreError::Folder {
            dir: dir.to_owned(),
            text,
        },
        other => other,
    })?;
    Ok((connection, file, notes))
}

/// True for NFS, SMB (two numbers), CIFS and 9P, by the numbers of statfs(2).
fn is_on_network(kind: i64) -> bool {
    matches!(
        kind,
        0x6969 | 0x517b | 0xfe53_4d42 | 0xff53_4d42 | 0x0102_1997
    )
}

/// SQLite's log shares memory between processes, which network file systems do not promise:
/// <https://sqlite.org/wal.html>.
fn network_note(dir: &Path) -> Note {
    Note {
        level: Level::Warning.into(),
        id: "store-on-network".to_owned(),
        text: format!(
            "The state folder {} is on a network file system, where results can be lost; \
             give a folder on a local disk with --state.",
            dir.display()
        ),
    }
}

fn open_and_check(file: &Path) -> Result<Connection, StoreError> {
    let mut connection = connection::open_for_writing(file)?;
    schema::migrate(&mut connection, file, &schema::MIGRATIONS)?;
    Ok(connection)
}

/// Renames the file and what belongs to it; returns the new name of the file.
fn move_aside(file: &Path, clock: &SharedClock) -> std::io::Result<PathBuf> {
    let since = clock
        .now()
        .duration_since(SystemTime::UNIX_EPOCH)
        .unwrap_or_default();
    let with = |ending: &str| {
        let mut name = file.as_os_str().to_owned();
        name.push(ending);
        PathBuf::from(name)
    };
    let mark = format!(".damaged-{}", since.as_millis());
    for part in ["-wal", "-shm"] {
        match std::fs::rename(with(part), with(&format!("{mark}{part}"))) {
            Err(error) if error.kind() != ErrorKind::NotFound => return Err(error),
            _ => {}
        }
    }
    let aside = with(&mark);
    std::fs::rename(file, &aside)?;
    Ok(aside)
}

fn damaged_note(aside: &Path, text: &str) -> Note {
    Note {
        level: Level::Warning.into(),
        id: "store-damaged".to_owned(),
        text: format!(
            "The file of earlier results was damaged ({text}) and was moved to {}; \
             a new one was begun, without the earlier results, baselines and matches.",
            aside.display()
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::is_on_network;

    #[test]
    fn nfs_is_on_the_network_and_ext4_and_tmpfs_are_not() {
        assert!(is_on_network(0x6969));
        assert!(!is_on_network(0xef53) && !is_on_network(0x0102_1994));
    }
}
