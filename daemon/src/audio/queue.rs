//! The engine's side of a device: fills what its callbacks play, fetches what they heard, and
//! notices when the device stalls or leaves frames out.
//!
//! An epoch begins when enough is queued: both callbacks are told a frame of the device's count,
//! a little in the future, at which it starts. Anything that breaks the count (an xrun, a late
//! engine, a change of the wiring) ends the epoch; what was heard and not yet fetched is dropped,
//! since an xrun is told after the fact.

mod rings;

use std::{
    sync::{Arc, atomic::Ordering},
    thread,
    time::{Duration, Instant},
};

use self::rings::{FromHearing, ToPlay};
use super::{
    Heard, InterfaceError, Loss,
    callback::{HearCallback, PlayCallback},
    shared::{Fault, Shared, Span, Start},
    watchdog::Watchdog,
};

/// What the queue must know of its device.
#[derive(Debug, Clone)]
pub struct Device {
    /// The device, as `devices` names it.
    pub name: String,
    /// Rate in Hz.
    pub rate_hz: u32,
    /// How many sends there are.
    pub send_count: usize,
    /// How many returns there are.
    pub return_count: usize,
    /// Frames in the longer of the two sides' periods.
    pub period_frames: usize,
    /// True where both sides count the same frames.
    pub locked: bool,
}

/// The engine's side.
pub struct Queue {
    device: Device,
    shared: Arc<Shared>,
    to_play: ToPlay,
    heard: FromHearing,
    epoch: u64,
    /// Stream frames of this epoch that are queued.
    queued: Option<std::ops::Range<u64>>,
    /// The stream frame that is handed over next.
    next_frame: u64,
    starts: Option<Starts>,
    seen_xrun_count: u64,
    told_clamped_count: u64,
    watchdog: Watchdog,
}

#[derive(Clone, Copy)]
struct Starts {
    play: Start,
    hear: Start,
}

impl Queue {
    /// A queue with the two callbacks that it works with.
    #[must_use]
    pub fn new(device: Device, shared: Arc<Shared>) -> (Self, PlayCallback, HearCallback) {
        let capacity_frames = 2 * device.rate_hz as usize + 8 * device.period_frames;
        let (to_play, far_end) = ToPlay::new(capacity_frames, device.send_count);
        let play = PlayCallback::new(
            Arc::clone(&shared),
            device.rate_hz,
            device.send_count,
            far_end.samples,
            far_end.spans,
            far_end.starts,
        );
        let (heard, far_end) = FromHearing::new(capacity_frames, device.return_count);
        let hear = HearCallback::new(
            Arc::clone(&shared),
            device.return_count,
            far_end.samples,
            far_end.spans,
            far_end.starts,
        );
        let queue = Self {
            watchdog: Watchdog::new(device.period_frames, device.rate_hz),
            device,
            shared,
            to_play,
            heard,
            epoch: 1,
            queued: None,
            next_frame: 0,
            starts: None,
            seen_xrun_count: 0,
            told_clamped_count: 0,
        };
        (queue, play, hear)
    }

    /// Does what [`super::Interface::exchange`] says, for a device.
    ///
    /// # Errors
    /// `Gone`, `Stalled`, or `Unfit` where a block is longer than the queue.
    pub fn exchange(
        &mut self,
        at_frame: u64,
        play: &[&[f32]],
        heard: &mut [Vec<f32>],
        wait: Duration,
    ) -> Result<Heard, InterfaceError> {
        let deadline = Instant::now() + wait;
        let frame_count = play.first().map_or(0, |samples| samples.len());
        self.look_after_device()?;
        if self.is_epoch_over() {
            return Ok(self.next_epoch(at_frame + frame_count as u64));
        }
        self.push(at_frame, play, frame_count)?;
        self.start_when_filled();
        while !self.is_due() && Instant::now() < deadline && !self.is_epoch_over() {
            thread::sleep(self.nap());
            self.look_after_device()?;
            self.start_when_filled();
        }
        self.tell_clamped();
        if self.is_epoch_over() {
            return Ok(self.next_epoch(at_frame + frame_count as u64));
        }
        Ok(self.fetch(heard))
    }

    fn look_after_device(&mut self) -> Result<(), InterfaceError> {
        let silent_ms = self.watchdog.look(&self.shared, Instant::now());
        let device = || self.device.name.clone();
        if let Some(text) = self.shared.gone.get() {
            return Err(InterfaceError::Gone {
                device: device(),
                text: text.clone(),
            });
        }
        match silent_ms {
            Some(silent_ms) => Err(InterfaceError::Stalled {
                device: device(),
                silent_ms,
            }),
            None => Ok(()),
        }
    }

    /// Says once that samples were clamped: after that, a number may be wrong for good.
    fn tell_clamped(&mut self) {
        let count = self.shared.clamped_count.load(Ordering::Acquire);
        if self.told_clamped_count == 0 && count > 0 {
            tracing::warn!(
                device = self.device.name,
                "samples above a send's ceiling are clamped"
            );
        }
        self.told_clamped_count = count;
    }

    fn is_epoch_over(&mut self) -> bool {
        let xrun_count = self.shared.xrun_count.load(Ordering::Acquire);
        if self.starts.is_none() {
            // Nothing was lost that belongs to this epoch.
            self.seen_xrun_count = xrun_count;
        }
        self.seen_xrun_count != xrun_count || self.shared.is_over(self.epoch)
    }

    /// Ends the epoch and gives what tells the engine so.
    fn next_epoch(&mut self, first_frame: u64) -> Heard {
        self.shared.end_epoch(self.epoch);
        let faults = Fault::ALL.iter().zip(self.shared.fault_counts());
        for (fault, count) in faults.filter(|(_, count)| *count > 0) {
            tracing::debug!(
                device = self.device.name,
                count,
                "frames lost: {}",
                fault.text()
            );
        }
        self.epoch += 1;
        self.queued = None;
        self.next_frame = first_frame;
        self.starts = None;
        self.heard.drop_all();
        let lost = Some(Loss::Unknown);
        Heard {
            epoch: self.epoch,
            first_frame,
            frame_count: 0,
            lost,
        }
    }

    /// Queues one block, waiting for room where the device is slow.
    fn push(
        &mut self,
        at_frame: u64,
        play: &[&[f32]],
        frame_count: usize,
    ) -> Result<(), InterfaceError> {
        if frame_count == 0 {
            return Ok(());
        }
        let longest = self.device.rate_hz as usize;
        if frame_count > longest {
            let text =
                format!("a block of {frame_count} frames is longer than one of {longest} may be");
            return Err(InterfaceError::Unfit { text });
        }
        self.to_play.prepare(play, frame_count);
        while !self.to_play.has_room() {
            thread::sleep(self.nap());
            self.look_after_device()?;
            if self.is_epoch_over() {
                return Ok(());
            }
        }
        self.to_play.push(Span {
            epoch: self.epoch,
            first_frame: at_frame,
            frame_count,
        });
        let first_frame = self.queued.as_ref().map_or(at_frame, |queued| queued.start);
        self.queued = Some(first_frame..at_frame + frame_count as u64);
        Ok(())
    }

    /// Starts the epoch once the lead is queued and sound may pass.
    fn start_when_filled(&mut self) {
        let Some(queued) = self.queued.clone().filter(|_| self.starts.is_none()) else {
            return;
        };
        if queued.end - queued.start < self.lead_frames() || !self.shared.gate.is_open() {
            return;
        }
        let margin_frames =
            (2 * self.device.period_frames as u64).max(u64::from(self.device.rate_hz) / 50);
        let played = self.shared.played_frame.load(Ordering::Acquire);
        let heard = self.shared.heard_frame.load(Ordering::Acquire);
        let (played, heard) = if self.device.locked {
            (played.max(heard), played.max(heard))
        } else {
            (played, heard)
        };
        let start_after = |device_frame: u64| Start {
            epoch: self.epoch,
            device_frame: device_frame + margin_frames,
            stream_frame: queued.start,
        };
        let starts = Starts {
            play: start_after(played),
            hear: start_after(heard),
        };
        let told = self.to_play.start(starts.play) && self.heard.start(starts.hear);
        // A full ring means that no callback has run for many epochs: the watchdog will tell.
        self.starts = told.then_some(starts);
        self.next_frame = queued.start;
    }

    /// Frames that are queued before an epoch starts, and kept queued ahead of the device: four
    /// periods, and at least 100 ms for an engine without real-time priority.
    fn lead_frames(&self) -> u64 {
        (4 * self.device.period_frames as u64).max(u64::from(self.device.rate_hz) / 10)
    }

    /// Heard frames are handed over so much later than heard, so that an xrun is known by then.
    fn hold_frames(&self) -> u64 {
        (self.device.period_frames as u64).max(u64::from(self.device.rate_hz) / 100)
    }

    /// True when the engine may queue more.
    fn is_due(&self) -> bool {
        let Some(queued) = &self.queued else {
            return true;
        };
        let played_until = match self.starts {
            None => queued.start,
            Some(Starts { play, .. }) => {
                let played = self.shared.played_frame.load(Ordering::Acquire);
                play.stream_frame + played.saturating_sub(play.device_frame)
            }
        };
        queued.end.saturating_sub(played_until) < self.lead_frames()
    }

    fn nap(&self) -> Duration {
        let period_s = self.device.period_frames as f64 / f64::from(self.device.rate_hz);
        Duration::from_secs_f64((period_s / 4.0).clamp(0.0005, 0.005))
    }

    /// Hands over what was heard without a gap and long enough ago.
    fn fetch(&mut self, heard: &mut [Vec<f32>]) -> Heard {
        let mut got = Heard {
            epoch: self.epoch,
            first_frame: self.next_frame,
            frame_count: 0,
            lost: None,
        };
        let Some(Starts { hear, .. }) = self.starts else {
            return got;
        };
        let heard_frame = self.shared.heard_frame.load(Ordering::Acquire);
        let heard_until = hear.stream_frame + heard_frame.saturating_sub(hear.device_frame);
        let ripe_until = heard_until.saturating_sub(self.hold_frames());
        while let Some(frame_count) = self.heard.fetch(self.epoch, ripe_until, heard) {
            got.frame_count += frame_count;
        }
        self.next_frame += got.frame_count as u64;
        got
    }
}

#[cfg(test)]
mod tests;
