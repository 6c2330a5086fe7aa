//! Which curves are kept: all, or those of a number of days. Figures are kept for ever.

use goodwire_proto::v1::verdict::Outcome;
use rusqlite::params;

use super::{Store, error::StoreError, rows::to_ns};

const NS_A_DAY: i64 = 86_400_000_000_000;
/// So many measurements lose their curves in one transaction: nobody waits long behind it.
const AT_ONCE: i64 = 500;

impl Store {
    /// Removes the curves of measurements that ended more than so many days ago, and says of how
    /// many. Baselines, matches, and what failed or drifted keep theirs. The file does not shrink:
    /// what becomes free is used again.
    ///
    /// # Errors
    /// What writing can meet.
    pub fn drop_curves(&self, days: u32) -> Result<usize, StoreError> {
        let now = to_ns(&self.shared.clock.timestamp());
        let before = now - i64::from(days) * NS_A_DAY;
        let kept = [Outcome::Fail, Outcome::Drift].map(i32::from);
        let sql = "UPDATE measurements SET curves = x'' WHERE rowid IN (
                       SELECT rowid FROM measurements
                       WHERE state >= 3 AND end_time < ?1 AND curves <> x'' AND NOT is_match
                           AND id NOT IN (SELECT measurement FROM baselines)
                           AND id NOT IN (SELECT measurement FROM matches)
                           AND id NOT IN (SELECT measurement FROM judgements
                                          WHERE outcome IN (?2, ?3))
                       LIMIT ?4)";
        let mut count = 0;
        loop {
            let dropped = self.write(move |transaction| {
                Ok(transaction.execute(sql, params![before, kept[0], kept[1], AT_ONCE])?)
            })?;
            count += dropped;
            if dropped == 0 {
                return Ok(count);
            }
        }
    }
}
