//! Sounds of results, for listening.

use goodwire_proto::{plugin::v1::Sound, v1::Measurement};
use rusqlite::{OptionalExtension, Transaction, params};

use super::{Store, error::StoreError, names::id_of};

/// Measurements that keep their sounds: the newest of those that have any. With three sounds of
/// 7 s each at 48 kHz that is 80 MB.
const KEPT_COUNT: i64 = 20;

impl Store {
    /// The samples of a sound; `None` where the measurement has none of that id, or has it no more.
    ///
    /// # Errors
    /// What reading can meet.
    pub fn sound(&self, name: &str, sound: &str) -> Result<Option<Vec<f32>>, StoreError> {
        self.read(|connection| {
            let mut statement = connection.prepare_cached(
                "SELECT samples FROM sounds WHERE measurement = ?1 AND sound = ?2",
            )?;
            let bytes: Option<Vec<u8>> = statement
                .query_row([id_of(name), sound], |row| row.get(0))
                .optional()?;
            Ok(bytes.map(|bytes| read_samples(&bytes)))
        })
    }
}

/// Keeps the sounds of a measurement, and lets those of older ones go.
pub(super) fn keep(
    transaction: &Transaction<'_>,
    measurement: &Measurement,
    sounds: &[Sound],
) -> Result<(), StoreError> {
    if sounds.is_empty() {
        return Ok(());
    }
    let mut statement = transaction.prepare_cached("INSERT INTO sounds VALUES (?1, ?2, ?3)")?;
    for sound in sounds {
        let bytes: Vec<u8> = sound
            .samples
            .iter()
            .flat_map(|sample| sample.to_le_bytes())
            .collect();
        statement.execute(params![id_of(&measurement.name), sound.id, bytes])?;
    }
    // Ids rise with time.
    transaction.execute(
        "DELETE FROM sounds WHERE measurement NOT IN
             (SELECT DISTINCT measurement FROM sounds ORDER BY measurement DESC LIMIT ?1)",
        [KEPT_COUNT],
    )?;
    Ok(())
}

fn read_samples(bytes: &[u8]) -> Vec<f32> {
    let (samples, _) = bytes.as_chunks();
    samples.iter().copied().map(f32::from_le_bytes).collect()
}
