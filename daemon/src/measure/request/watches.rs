//! What is asked of watches beyond other measurements.

use goodwire_proto::v1::MeasureRequest;

use crate::{
    measure::{complete::Desk, job::Job},
    refusal::Refusal,
};

/// What one watch may write, in MiB: its state of at most 4, its result, and the journal of both.
const WATCH_MIB: u64 = 16;

impl Desk {
    /// Whether what watches may write has room, and they may go on after a restart.
    pub(super) fn check_watches(
        &self,
        request: &MeasureRequest,
        jobs: &[Job],
    ) -> Result<(), Refusal> {
        if request.resume {
            self.check_resume(jobs)?;
        }
        let watch_count = jobs.iter().filter(|job| job.is_watch).count() as u64;
        let needed_mib = watch_count * WATCH_MIB;
        let free_mib = self.store.free_bytes()? >> 20;
        if watch_count > 0 && free_mib < needed_mib {
            return Err(Refusal::Forbidden {
                reason: "STORAGE_SHORT",
                text: format!(
                    "the disk with the state folder has {free_mib} MiB free, and this watch may \
                     write {needed_mib} MiB: make room there before it begins"
                ),
            });
        }
        Ok(())
    }

    fn check_resume(&self, jobs: &[Job]) -> Result<(), Refusal> {
        if !jobs.iter().all(|job| job.is_watch) {
            let text = "only a watch goes on after a restart, and this is none: leave it false";
            return Err(Refusal::field("resume", text));
        }
        if !self.config.safety.unattended && !jobs.iter().all(Job::is_silent) {
            let text = "after a restart nobody can be counted on to be in the room: set \
                        safety.unattended = true where sound may be played by itself, or leave it \
                        false and what was seen is kept all the same";
            return Err(Refusal::field("resume", text));
        }
        Ok(())
    }
}
