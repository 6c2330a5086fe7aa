//! The engine's side of a device: fills what its callbacks play, fetches what they heard, and
//! notices when the device stalls or leaves frames out.
//!
//! An epoch begins when enough is queued: both callbacks are told a frame of the device's count,
//! a little in the future, at which it starts. Anything that breaks the count (an xrun, a late
//! engine, a change of the wiring) ends the epoch; what was heard and not yet fetched is dropped,
//! since an xrun is told after the fact.

use std::{
    sync::{Arc, atomic::Ordering},
    thread,
    time::{Duration, Instant},
};

use rtrb::{Consumer, Producer, RingBuffer};

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
    to_play: Ring<Producer<f32>, Producer<Span>>,
    heard: Ring<Consumer<f32>, Consumer<Span>>,
    interleaved: Vec<f32>,
    epoch: u64,
    /// Stream frames of this epoch that are queued.
    queued: Option<std::ops::Range<u64>>,
    /// The stream frame that is handed over next.
    next_frame: u64,
    starts: Option<Starts>,
    seen_xrun_count: u64,
    watchdog: Watchdog,
}

struct Ring<Samples, Spans> {
    samples: Samples,
    spans: Spans,
    starts: Producer<Start>,
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
        let (play_samples, samples) = RingBuffer::new(capacity_frames * device.send_count);
        let (play_spans, spans) = RingBuffer::new(SPAN_CAPACITY);
        let (play_starts, starts) = RingBuffer::new(START_CAPACITY);
        let play = PlayCallback::new(
            Arc::clone(&shared),
            device.rate_hz,
            device.send_count,
            samples,
            spans,
            starts,
        );
        let (samples, heard_samples) = RingBuffer::new(capacity_frames * device.return_count);
        let (spans, heard_spans) = RingBuffer::new(SPAN_CAPACITY);
        let (heard_starts, starts) = RingBuffer::new(START_CAPACITY);
        let hear = HearCallback::new(
            Arc::clone(&shared),
            device.return_count,
            samples,
            spans,
            starts,
        );
        let queue = Self {
            watchdog: Watchdog::new(device.period_frames, device.rate_hz),
            device,
            shared,
            to_play: Ring {
                samples: play_samples,
                spans: play_spans,
                starts: play_starts,
            },
            heard: Ring {
                samples: heard_samples,
                spans: heard_spans,
                starts: heard_starts,
            },
            interleaved: Vec::new(),
            epoch: 1,
            queued: None,
            next_frame: 0,
            starts: None,
            seen_xrun_count: 0,
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
        if self.is_epoch_over() {
            return Ok(self.next_epoch(at_frame + frame_count as u64));
        }
        Ok(self.fetch(heard))
    }

    fn look_after_device(&mut self) -> Result<(), InterfaceError> {
        let device = self.device.name.clone();
        if let Some(text) = self.shared.gone.get() {
            return Err(InterfaceError::Gone {
                device,
                text: text.clone(),
            });
        }
        match self.watchdog.look(&self.shared, Instant::now()) {
            Some(silent_ms) => Err(InterfaceError::Stalled { device, silent_ms }),
            None => Ok(()),
        }
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
        self.drop_heard();
        let lost = Some(Loss::Unknown);
        Heard {
            epoch: self.epoch,
            first_frame,
            frame_count: 0,
            lost,
        }
    }

    fn drop_heard(&mut self) {
        while let Ok(span) = self.heard.spans.pop() {
            self.discard_heard(span);
        }
    }

    fn discard_heard(&mut self, span: Span) {
        if let Ok(chunk) = self
            .heard
            .samples
            .read_chunk(span.frame_count * self.device.return_count)
        {
            chunk.commit_all();
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
        self.interleave(play, frame_count)?;
        while self.to_play.samples.slots() < self.interleaved.len() || self.to_play.spans.is_full()
        {
            thread::sleep(self.nap());
            self.look_after_device()?;
            if self.is_epoch_over() {
                return Ok(());
            }
        }
        let span = Span {
            epoch: self.epoch,
            first_frame: at_frame,
            frame_count,
        };
        let pushed = self
            .to_play
            .samples
            .push_entire_slice(&self.interleaved)
            .is_ok()
            && self.to_play.spans.push(span).is_ok();
        debug_assert!(pushed, "room was made for {frame_count} frames");
        let first_frame = self.queued.as_ref().map_or(at_frame, |queued| queued.start);
        self.queued = Some(first_frame..at_frame + frame_count as u64);
        Ok(())
    }

    fn interleave(&mut self, play: &[&[f32]], frame_count: usize) -> Result<(), InterfaceError> {
        let longest = self.device.rate_hz as usize;
        if frame_count > longest {
            let text =
                format!("a block of {frame_count} frames is longer than one of {longest} may be");
            return Err(InterfaceError::Unfit { text });
        }
        let send_count = self.device.send_count;
        self.interleaved.clear();
        self.interleaved.resize(frame_count * send_count, 0.0);
        for (send, samples) in play.iter().enumerate().take(send_count) {
            let places = self.interleaved.iter_mut().skip(send).step_by(send_count);
            places
                .zip(*samples)
                .for_each(|(place, &sample)| *place = sample);
        }
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
        let told = self.to_play.starts.push(starts.play).is_ok()
            && self.heard.starts.push(starts.hear).is_ok();
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
        while let Ok(&span) = self.heard.spans.peek() {
            let is_stale = span.epoch != self.epoch;
            if !is_stale && span.first_frame + span.frame_count as u64 > ripe_until {
                break;
            }
            // It was peeked at just now.
            let _ = self.heard.spans.pop();
            if is_stale {
                self.discard_heard(span);
                continue;
            }
            got.frame_count += span.frame_count;
            self.hand_over(span, heard);
        }
        self.next_frame += got.frame_count as u64;
        got
    }

    fn hand_over(&mut self, span: Span, heard: &mut [Vec<f32>]) {
        let return_count = self.device.return_count;
        let Ok(chunk) = self
            .heard
            .samples
            .read_chunk(span.frame_count * return_count)
        else {
            return;
        };
        let (first, second) = chunk.as_slices();
        for (channel, samples) in heard.iter_mut().enumerate().take(return_count) {
            // The ring's end may lie inside a frame, so both halves are walked as one.
            let both = first.iter().chain(second);
            samples.extend(both.skip(channel).step_by(return_count));
        }
        chunk.commit_all();
    }
}

/// Spans that fit a ring: two seconds in blocks of 32 frames at 48 kHz, and more.
const SPAN_CAPACITY: usize = 8192;
/// Starts that fit a ring; a callback takes them all at every block.
const START_CAPACITY: usize = 64;

#[cfg(test)]
mod tests;
