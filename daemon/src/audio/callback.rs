//! What runs inside the audio callbacks: copy between rings and device, ramp, mute, gate,
//! ceiling, count. It never allocates, frees, locks, logs, calls the system or panics.
//!
//! Both callbacks map the device's own frame count to stream frames by the [`Start`] of the
//! epoch. Whatever does not fit that map breaks the epoch: sound fades out, capture ends, and
//! the engine's side begins a new epoch. So nothing is ever spliced.

use std::sync::{Arc, atomic::Ordering};

use rtrb::{Consumer, Producer};

use super::{
    ramp::Ramp,
    shared::{Fault, Shared, Span, Start},
};

/// Follows the device's frame count and the epoch; what both callbacks have in common.
struct Follower {
    shared: Arc<Shared>,
    starts: Consumer<Start>,
    start: Option<Start>,
    expected_device_frame: Option<u64>,
}

impl Follower {
    fn new(shared: Arc<Shared>, starts: Consumer<Start>) -> Self {
        Self {
            shared,
            starts,
            start: None,
            expected_device_frame: None,
        }
    }

    /// Takes in new starts, notices jumps, and gives the start of the epoch that runs.
    fn follow(&mut self, device_frame: u64, frame_count: usize) -> Option<Start> {
        let jumped = self
            .expected_device_frame
            .is_some_and(|expected| expected != device_frame);
        self.expected_device_frame = Some(device_frame + frame_count as u64);
        if let Some(start) = self.running().filter(|_| jumped) {
            self.shared.break_epoch(start.epoch, Fault::Jumped);
        }
        while let Ok(start) = self.starts.pop() {
            self.start = Some(start);
            if start.device_frame < device_frame {
                self.shared.break_epoch(start.epoch, Fault::Starved);
            }
        }
        self.running()
    }

    fn running(&self) -> Option<Start> {
        self.start.filter(|start| !self.shared.is_over(start.epoch))
    }
}

/// The playing side of a device.
pub struct PlayCallback {
    follower: Follower,
    samples: Consumer<f32>,
    spans: Consumer<Span>,
    /// What is left of the span that is being played.
    span: Option<Span>,
    /// Stream frames before this were dropped by the mute, so their absence is no starvation.
    dropped_until: u64,
    ramp: Ramp,
    /// The last frame before ramp and ceiling; fades out where there is nothing more to play.
    held: Box<[f32]>,
    ceilings: Box<[f32]>,
}

/// What is to be played over the next frames.
enum Run {
    Sound(usize),
    Nothing(usize),
}

impl PlayCallback {
    /// A callback for `send_count` sends that plays what comes through the rings.
    #[must_use]
    pub fn new(
        shared: Arc<Shared>,
        rate_hz: u32,
        send_count: usize,
        samples: Consumer<f32>,
        spans: Consumer<Span>,
        starts: Consumer<Start>,
    ) -> Self {
        Self {
            follower: Follower::new(shared, starts),
            samples,
            spans,
            span: None,
            dropped_until: 0,
            ramp: Ramp::new(rate_hz),
            held: vec![0.0; send_count].into(),
            ceilings: vec![0.0; send_count].into(),
        }
    }

    /// Fills one block of interleaved samples that begins with `device_frame`.
    ///
    /// Thread: audio callback. Wait-free; never allocates, frees, locks, logs or panics.
    pub fn on_block(&mut self, device_frame: u64, interleaved: &mut [f32]) {
        let send_count = self.held.len();
        let frame_count = interleaved.len().checked_div(send_count).unwrap_or(0);
        let start = self.follower.follow(device_frame, frame_count);
        for (send, ceiling) in self.ceilings.iter_mut().enumerate() {
            *ceiling = self.follower.shared.ceiling(send);
        }
        let muted = self.follower.shared.mute.is_set();
        if !self.follower.shared.gate.is_open() {
            self.on_closed_gate(start);
        }
        let was_silent = self.ramp.is_silent();

        let mut done = 0;
        while done < frame_count {
            let run = self.next_run(start, device_frame + done as u64, frame_count - done);
            let (Run::Sound(count) | Run::Nothing(count)) = run;
            let part = &mut interleaved[done * send_count..(done + count) * send_count];
            match run {
                Run::Sound(_) => self.play(part, !muted),
                Run::Nothing(_) => self.fade(part),
            }
            done += count;
        }
        if muted && self.ramp.is_silent() {
            self.drop_queued();
            if was_silent {
                self.follower.shared.mute.confirm_silence();
            }
        }
        self.follower
            .shared
            .played_frame
            .store(device_frame + done as u64, Ordering::Release);
    }

    /// Cuts without a ramp: what is connected just now may be a loudspeaker.
    fn on_closed_gate(&mut self, start: Option<Start>) {
        self.ramp.cut();
        if let Some(start) = start {
            self.follower.shared.break_epoch(start.epoch, Fault::Gated);
        }
    }

    /// What is to be played from `device_frame` on, at most `frame_count` frames, at least one.
    fn next_run(&mut self, start: Option<Start>, device_frame: u64, frame_count: usize) -> Run {
        let Some(start) = start.filter(|start| !self.follower.shared.is_over(start.epoch)) else {
            self.skip_to(0);
            return Run::Nothing(frame_count);
        };
        let Some(offset) = device_frame.checked_sub(start.device_frame) else {
            let before = start.device_frame - device_frame;
            return Run::Nothing(frame_count.min(before as usize));
        };
        let stream_frame = start.stream_frame + offset;
        self.skip_to(stream_frame);
        match self.span {
            Some(span) if span.first_frame == stream_frame => {
                Run::Sound(frame_count.min(span.frame_count))
            }
            _ if stream_frame < self.dropped_until => {
                let missing = self.dropped_until - stream_frame;
                Run::Nothing(frame_count.min(missing as usize))
            }
            _ => {
                self.follower
                    .shared
                    .break_epoch(start.epoch, Fault::Starved);
                Run::Nothing(frame_count)
            }
        }
    }

    /// Leaves out what belongs to an epoch that is over, or lies before `stream_frame`.
    fn skip_to(&mut self, stream_frame: u64) {
        while let Some(span) = self.front_span() {
            let skipped_frames = if self.follower.shared.is_over(span.epoch) {
                span.frame_count
            } else {
                let late = stream_frame.saturating_sub(span.first_frame);
                late.min(span.frame_count as u64) as usize
            };
            if skipped_frames == 0 {
                return;
            }
            self.discard(skipped_frames);
        }
    }

    fn front_span(&mut self) -> Option<Span> {
        self.span = self.span.or_else(|| self.spans.pop().ok());
        self.span
    }

    /// Takes frames off the front of the present span without playing them.
    fn discard(&mut self, frame_count: usize) {
        let sample_count = frame_count * self.held.len();
        if let Ok(chunk) = self.samples.read_chunk(sample_count) {
            chunk.commit_all();
        }
        self.shorten_span(frame_count);
    }

    fn shorten_span(&mut self, frame_count: usize) {
        self.span = self.span.and_then(|span| {
            let left = span.frame_count.saturating_sub(frame_count);
            let first_frame = span.first_frame + frame_count as u64;
            (left > 0).then_some(Span {
                first_frame,
                frame_count: left,
                ..span
            })
        });
    }

    /// Drops all that is queued at this moment.
    fn drop_queued(&mut self) {
        while let Some(span) = self.front_span() {
            self.dropped_until = span.first_frame + span.frame_count as u64;
            self.discard(span.frame_count);
        }
    }

    /// Plays frames from the ring into `part`, ramping towards sound or silence.
    fn play(&mut self, part: &mut [f32], to_sound: bool) {
        let send_count = self.held.len();
        // A span is announced after its samples, so they are all there.
        if let Ok(chunk) = self.samples.read_chunk(part.len()) {
            let (first, second) = chunk.as_slices();
            part[..first.len()].copy_from_slice(first);
            part[first.len()..].copy_from_slice(second);
            chunk.commit_all();
        } else {
            part.fill(0.0);
        }
        let mut clamped_count = 0;
        for frame in part.chunks_exact_mut(send_count) {
            self.held.copy_from_slice(frame);
            let gain = self.ramp.walk(to_sound);
            clamped_count += shape_frame(frame, gain, &self.ceilings);
        }
        self.count_clamped(clamped_count);
        self.shorten_span(part.len() / send_count);
    }

    /// Fades from the last frame that was played into silence.
    fn fade(&mut self, part: &mut [f32]) {
        for frame in part.chunks_exact_mut(self.held.len()) {
            let gain = self.ramp.walk(false);
            frame.copy_from_slice(&self.held);
            // Not counted as clamped: it was, when it was played.
            shape_frame(frame, gain, &self.ceilings);
        }
    }

    fn count_clamped(&self, clamped_count: u64) {
        if clamped_count > 0 {
            self.follower
                .shared
                .clamped_count
                .fetch_add(clamped_count, Ordering::AcqRel);
        }
    }
}

/// Applies gain and ceilings to one frame and gives how many samples were clamped.
///
/// What is no number becomes silence; what is too small for full precision becomes silence
/// too, since such numbers slow down whatever computes with them next.
fn shape_frame(frame: &mut [f32], gain: f32, ceilings: &[f32]) -> u64 {
    let mut clamped_count = 0;
    for (sample, &ceiling) in frame.iter_mut().zip(ceilings) {
        let wanted = *sample * gain;
        *sample = if wanted.abs() <= ceiling {
            if wanted.abs() < f32::MIN_POSITIVE {
                0.0
            } else {
                wanted
            }
        } else {
            clamped_count += 1;
            if wanted.is_nan() {
                0.0
            } else {
                ceiling.copysign(wanted)
            }
        };
    }
    clamped_count
}

/// The hearing side of a device.
pub struct HearCallback {
    follower: Follower,
    samples: Producer<f32>,
    spans: Producer<Span>,
    return_count: usize,
}

impl HearCallback {
    /// A callback for `return_count` returns that hands over what is heard through the rings.
    #[must_use]
    pub fn new(
        shared: Arc<Shared>,
        return_count: usize,
        samples: Producer<f32>,
        spans: Producer<Span>,
        starts: Consumer<Start>,
    ) -> Self {
        Self {
            follower: Follower::new(shared, starts),
            samples,
            spans,
            return_count,
        }
    }

    /// Takes one block of interleaved samples that begins with `device_frame`.
    ///
    /// Thread: audio callback. Wait-free; never allocates, frees, locks, logs or panics.
    pub fn on_block(&mut self, device_frame: u64, interleaved: &[f32]) {
        let frame_count = interleaved
            .len()
            .checked_div(self.return_count)
            .unwrap_or(0);
        if let Some(start) = self.follower.follow(device_frame, frame_count) {
            let before = start.device_frame.saturating_sub(device_frame);
            let skipped = before.min(frame_count as u64) as usize;
            if skipped < frame_count {
                let offset = device_frame + skipped as u64 - start.device_frame;
                let span = Span {
                    epoch: start.epoch,
                    first_frame: start.stream_frame + offset,
                    frame_count: frame_count - skipped,
                };
                let end = frame_count * self.return_count;
                self.hand_over(span, &interleaved[skipped * self.return_count..end]);
            }
        }
        let after = device_frame + frame_count as u64;
        self.follower
            .shared
            .heard_frame
            .store(after, Ordering::Release);
    }

    fn hand_over(&mut self, span: Span, samples: &[f32]) {
        // Samples without their span would shift all that follows, so both must fit.
        let fits = !self.spans.is_full() && self.samples.push_entire_slice(samples).is_ok();
        if !fits || self.spans.push(span).is_err() {
            self.follower.shared.break_epoch(span.epoch, Fault::Overrun);
        }
    }
}

#[cfg(test)]
mod tests;
