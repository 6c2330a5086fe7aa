//! One performance on the interface: mixes its parts, cuts what is heard to its frames, ramps down
//! when it is cancelled, and ends it when the room answers too loudly.

use std::{sync::Arc, time::Duration};

use super::{
    Heard, Loss, Mute, Shape, TimeSource,
    backlog::Backlog,
    listening::{block_peak, peak_dbfs},
    performance::{Answer, Captured, Ended, Performance, Prediction},
    pilot::Taken,
};

/// Length of the ramp that ends a cancelled performance, in seconds.
const RAMP_S: f64 = 0.010;
/// Virtual time looks so often whether it was ended while it waits for the pilot.
const PILOT_WAIT: Duration = Duration::from_millis(50);
/// A return may be louder than predicted by so many dB; see the permission to play.
const LOUDER_DB: f64 = 10.0;

impl Performance {
    /// Gives the last answer. Whoever does not listen any more does not need it.
    pub fn end(&self, ended: Ended) {
        let _ = self.answers.send(Answer::Ended(ended));
    }
}

/// A performance that is under way.
pub(super) struct Stage {
    performance: Performance,
    send_count: usize,
    time: TimeSource,
    ramp_frames: u64,
    /// Stream frame of the performance's first frame.
    start_frame: u64,
    /// Number of the performance's first frame: 0 but where it goes on after a loss.
    first_frame: u64,
    /// Frame of the performance at which it ends.
    end_frame: u64,
    backlog: Backlog,
    /// Next frame of the performance to be mixed.
    mixed_frames: u64,
    /// Next frame of the performance that is expected to be heard.
    heard_frames: u64,
    /// Frame of the performance at which the ramp down of all began.
    ramp_from: Option<u64>,
    /// The same for each part alone.
    part_ramps_from: Vec<Option<u64>>,
}

impl Stage {
    /// Begins with the frame `first_frame` of the performance at `start_frame` of the stream.
    pub(super) fn new(
        performance: Performance,
        shape: &Shape,
        start_frame: u64,
        first_frame: u64,
    ) -> Self {
        let ramp_frames = (f64::from(shape.rate_hz) * RAMP_S) as u64;
        let part_ramps_from = vec![None; performance.parts.len()];
        let end_frame = match performance.open_end {
            Some(_) => u64::MAX,
            None => performance.frame_count,
        };
        Self {
            performance,
            send_count: shape.send_count,
            time: shape.time,
            ramp_frames,
            start_frame,
            first_frame,
            end_frame,
            backlog: Backlog::new(shape.rate_hz),
            mixed_frames: first_frame,
            heard_frames: first_frame,
            ramp_from: None,
            part_ramps_from,
        }
    }

    /// True once a frame of the performance was handed to the interface.
    pub(super) fn has_begun(&self) -> bool {
        self.mixed_frames > self.first_frame
    }

    pub(super) fn end(&self, ended: Ended) {
        self.performance.end(ended);
    }

    /// True while those who listen are too far behind for more to be handed out.
    pub(super) fn is_behind(&mut self) -> bool {
        self.backlog.is_full() && !self.performance.cancel.is_set()
    }

    /// True where frames may be given up: an open-ended performance goes on after them.
    pub(super) fn may_lose(&self) -> bool {
        self.performance.open_end.is_some()
    }

    /// The pilot's next frames; empty where there is none. Time that nobody else paces waits.
    ///
    /// # Errors
    /// How the performance ends, where they are not there.
    fn pilot(&mut self, frame_count: usize) -> Result<Vec<f32>, Ended> {
        let open_end = self.performance.open_end.as_mut();
        let Some(pilot) = open_end.and_then(|open_end| open_end.pilot.as_mut()) else {
            return Ok(Vec::new());
        };
        let wait = match self.time {
            TimeSource::Virtual => PILOT_WAIT,
            TimeSource::Device | TimeSource::Paced => Duration::ZERO,
        };
        loop {
            match pilot.take(frame_count, wait) {
                Taken::Samples(samples) => return Ok(samples),
                Taken::Ended => return Err(Ended::Cancelled),
                Taken::Late if self.performance.cancel.is_set() => return Err(Ended::Cancelled),
                Taken::Late if self.time == TimeSource::Virtual => {}
                Taken::Late => return Err(Ended::Lost(Loss::Unknown)),
            }
        }
    }

    /// Mixes the next block, one vector a send. `None`: the performance has ended.
    pub(super) fn block(&mut self, frame_count: usize) -> Option<Vec<Vec<f32>>> {
        let pilot = match self.pilot(frame_count) {
            Ok(pilot) => pilot,
            Err(ended) => {
                self.end(ended);
                return None;
            }
        };
        let at_frame = self.mixed_frames;
        if self.performance.cancel.is_set() {
            self.ramp_from.get_or_insert(at_frame);
        }
        let mut block = vec![vec![0.0; frame_count]; self.send_count];
        for (part, ramp_from) in self.performance.parts.iter().zip(&mut self.part_ramps_from) {
            if part.cancel.is_set() {
                ramp_from.get_or_insert(at_frame);
            }
            let Some(send) = block.get_mut(part.send) else {
                continue;
            };
            let begin = [*ramp_from, self.ramp_from].into_iter().flatten().min();
            part.mix(at_frame, &pilot, send, |frame| {
                ramp_down(frame, begin, self.ramp_frames)
            });
        }
        self.mixed_frames += frame_count as u64;
        Some(block)
    }

    /// Takes what was heard. True once the performance has ended.
    pub(super) fn hear(
        &mut self,
        got: &Heard,
        heard: Vec<Vec<f32>>,
        epoch: u64,
        mute: &Mute,
    ) -> bool {
        if self
            .ramp_from
            .is_some_and(|from| self.mixed_frames >= from + self.ramp_frames)
        {
            self.end(Ended::Cancelled);
            return true;
        }
        if got.frame_count == 0 {
            return false;
        }
        let end_frame = got.first_frame + got.frame_count as u64;
        if end_frame <= self.start_frame {
            return false;
        }
        if let Some(loss) = got.lost {
            self.end(Ended::Lost(loss));
            return true;
        }
        let Some(captured) = self.cut(got, heard, epoch) else {
            self.end(Ended::Lost(Loss::Unknown));
            return true;
        };
        if let Some(ended) = self.too_loud(&captured) {
            mute.set(true);
            self.end(ended);
            return true;
        }
        self.heard_frames += captured.returns.first().map_or(0, Vec::len) as u64;
        let captured = Arc::new(captured);
        self.backlog.push(&captured);
        // Whoever does not listen any more has set the cancel switch as well.
        let _ = self.performance.answers.send(Answer::Captured(captured));
        let complete = self.heard_frames >= self.end_frame;
        if complete {
            self.end(Ended::Complete { epoch });
        }
        complete
    }

    /// Cuts a block to the performance's frames. `None` where frames before it are missing.
    fn cut(&self, got: &Heard, mut heard: Vec<Vec<f32>>, epoch: u64) -> Option<Captured> {
        let skip = self.start_frame.saturating_sub(got.first_frame);
        let first_frame = (got.first_frame + skip) - self.start_frame + self.first_frame;
        if first_frame != self.heard_frames {
            return None;
        }
        let left = self.end_frame - self.heard_frames;
        for channel in &mut heard {
            channel.drain(..(skip as usize).min(channel.len()));
            channel.truncate(usize::try_from(left).unwrap_or(usize::MAX));
        }
        Some(Captured {
            epoch,
            first_frame,
            stream_frame: got.first_frame + skip,
            returns: heard,
        })
    }

    fn too_loud(&self, captured: &Captured) -> Option<Ended> {
        let louder = |prediction: &Prediction| {
            let block = captured.returns.get(prediction.return_index)?;
            let heard_dbfs = peak_dbfs(block_peak(block));
            (heard_dbfs > prediction.peak_dbfs + LOUDER_DB).then_some(Ended::TooLoud {
                return_index: prediction.return_index,
                heard_dbfs,
                expected_dbfs: prediction.peak_dbfs,
            })
        };
        self.performance.predictions.iter().find_map(louder)
    }
}

/// Factor of a ramp of `ramp_frames` that began at `begin`: 1 before it, 0 after it.
fn ramp_down(frame: u64, begin: Option<u64>, ramp_frames: u64) -> f32 {
    let Some(past) = begin.and_then(|begin| frame.checked_sub(begin)) else {
        return 1.0;
    };
    let done = (past as f64 / ramp_frames.max(1) as f64).min(1.0);
    (0.5 + 0.5 * (std::f64::consts::PI * done).cos()) as f32
}
