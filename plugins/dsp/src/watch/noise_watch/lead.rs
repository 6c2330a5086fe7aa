//! For a watch whose cable is rendered beside the link: where that stands to the link, and how it is
//! slid along.

use super::NoiseWatch;

impl NoiseWatch {
    /// The delay of the link in seconds, to a sample of the watch; `None` until it was found.
    pub(in crate::watch) fn delay_s(&self) -> Option<f64> {
        let lock = self.lock.as_ref()?;
        Some(lock.delay as f64 / self.sample_hz)
    }

    /// Frames to one sample of the watch.
    pub(in crate::watch) fn decimation(&self) -> usize {
        self.decimation
    }

    /// Moves the cable's sound to an earlier place by so many samples, as if it had been heard so
    /// from the beginning, and takes the frames `more` that are missing then. Below 0 it is moved
    /// to a later place: as many samples of the cable are then not to be heard once more.
    pub(in crate::watch) fn slide(&mut self, samples: i64, more: &[f32]) {
        if samples >= 0 {
            self.narrow[1].take(more, &mut self.cable);
            self.cable.drain(..samples as usize);
        } else {
            let later = samples.unsigned_abs() as usize;
            self.cable.splice(0..0, std::iter::repeat_n(0.0, later));
        }
        if let Some(lock) = &mut self.lock {
            lock.delay += samples;
        }
    }

    /// True while the link carries its sound.
    pub(in crate::watch) fn is_whole(&self) -> bool {
        self.lock.is_some() && self.open.is_none()
    }

    /// Frame at which what is lost now began.
    pub(in crate::watch) fn lost_since(&self) -> Option<f64> {
        self.open.as_ref().map(|open| self.frame(open.first))
    }

    /// Samples that were judged since what is lost now began.
    fn lost_samples(&self) -> u64 {
        let open = self.open.as_ref();
        open.map_or(0, |open| (self.judged_to - open.first).max(0) as u64)
    }

    /// Frames that were judged before what is lost now.
    pub(in crate::watch) fn judged_before_loss(&self) -> u64 {
        self.judged_samples.saturating_sub(self.lost_samples()) * self.decimation as u64
    }

    /// Forgets what is lost now: it is over, not lost.
    pub(in crate::watch) fn forget_loss(&mut self) {
        self.judged_samples = self.judged_samples.saturating_sub(self.lost_samples());
        self.open = None;
    }
}
