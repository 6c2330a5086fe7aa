//! The rings between the engine and the two callbacks, seen from the engine.

use rtrb::{Consumer, Producer, RingBuffer};

use super::super::shared::{Span, Start};

/// Spans that fit a ring: two seconds in blocks of 32 frames at 48 kHz, and more.
const SPAN_CAPACITY: usize = 8192;
/// Starts that fit a ring; a callback takes them all at every block.
const START_CAPACITY: usize = 64;

/// What a callback reads or writes at the other end.
pub struct FarEnd<Samples, Spans> {
    /// Interleaved samples.
    pub samples: Samples,
    /// What they are; announced after them.
    pub spans: Spans,
    /// Where epochs start.
    pub starts: Consumer<Start>,
}

/// The way to the playing callback.
pub struct ToPlay {
    samples: Producer<f32>,
    spans: Producer<Span>,
    starts: Producer<Start>,
    send_count: usize,
    /// The block that is about to be pushed.
    interleaved: Vec<f32>,
}

impl ToPlay {
    /// A way for `capacity_frames` frames, and its far end.
    pub fn new(
        capacity_frames: usize,
        send_count: usize,
    ) -> (Self, FarEnd<Consumer<f32>, Consumer<Span>>) {
        let (samples, far_samples) = RingBuffer::new(capacity_frames * send_count);
        let (spans, far_spans) = RingBuffer::new(SPAN_CAPACITY);
        let (starts, far_starts) = RingBuffer::new(START_CAPACITY);
        let far_end = FarEnd {
            samples: far_samples,
            spans: far_spans,
            starts: far_starts,
        };
        (
            Self {
                samples,
                spans,
                starts,
                send_count,
                interleaved: Vec::new(),
            },
            far_end,
        )
    }

    /// Makes a block ready; sends that `play` does not have are silent.
    pub fn prepare(&mut self, play: &[&[f32]], frame_count: usize) {
        self.interleaved.clear();
        self.interleaved.resize(frame_count * self.send_count, 0.0);
        for (send, samples) in play.iter().enumerate().take(self.send_count) {
            let places = self
                .interleaved
                .iter_mut()
                .skip(send)
                .step_by(self.send_count);
            places
                .zip(*samples)
                .for_each(|(place, &sample)| *place = sample);
        }
    }

    /// True where the block that was made ready fits.
    pub fn has_room(&self) -> bool {
        self.samples.slots() >= self.interleaved.len() && !self.spans.is_full()
    }

    /// Queues the block that was made ready. There must be room.
    pub fn push(&mut self, span: Span) {
        let pushed = self.samples.push_entire_slice(&self.interleaved).is_ok()
            && self.spans.push(span).is_ok();
        debug_assert!(pushed, "room was made for {span:?}");
    }

    /// Tells the callback of a start. False where it takes none any more.
    pub fn start(&mut self, start: Start) -> bool {
        self.starts.push(start).is_ok()
    }
}

/// The way from the hearing callback.
pub struct FromHearing {
    samples: Consumer<f32>,
    spans: Consumer<Span>,
    starts: Producer<Start>,
    return_count: usize,
}

impl FromHearing {
    /// A way for `capacity_frames` frames, and its far end.
    pub fn new(
        capacity_frames: usize,
        return_count: usize,
    ) -> (Self, FarEnd<Producer<f32>, Producer<Span>>) {
        let (far_samples, samples) = RingBuffer::new(capacity_frames * return_count);
        let (far_spans, spans) = RingBuffer::new(SPAN_CAPACITY);
        let (starts, far_starts) = RingBuffer::new(START_CAPACITY);
        let far_end = FarEnd {
            samples: far_samples,
            spans: far_spans,
            starts: far_starts,
        };
        (
            Self {
                samples,
                spans,
                starts,
                return_count,
            },
            far_end,
        )
    }

    /// Tells the callback of a start. False where it takes none any more.
    pub fn start(&mut self, start: Start) -> bool {
        self.starts.push(start).is_ok()
    }

    /// Drops all that was heard and not fetched.
    pub fn drop_all(&mut self) {
        while let Ok(span) = self.spans.pop() {
            self.discard(span);
        }
    }

    fn discard(&mut self, span: Span) {
        if let Ok(chunk) = self
            .samples
            .read_chunk(span.frame_count * self.return_count)
        {
            chunk.commit_all();
        }
    }

    /// Appends the next span of `epoch` that ends by stream frame `ripe_until` to `heard` and
    /// gives its length; leaves out what belongs to other epochs.
    pub fn fetch(&mut self, epoch: u64, ripe_until: u64, heard: &mut [Vec<f32>]) -> Option<usize> {
        loop {
            let span = *self.spans.peek().ok()?;
            let is_stale = span.epoch != epoch;
            if !is_stale && span.first_frame + span.frame_count as u64 > ripe_until {
                return None;
            }
            // It was peeked at just now.
            let _ = self.spans.pop();
            if is_stale {
                self.discard(span);
                continue;
            }
            self.hand_over(span, heard);
            return Some(span.frame_count);
        }
    }

    fn hand_over(&mut self, span: Span, heard: &mut [Vec<f32>]) {
        let Ok(chunk) = self
            .samples
            .read_chunk(span.frame_count * self.return_count)
        else {
            return;
        };
        let (first, second) = chunk.as_slices();
        for (channel, samples) in heard.iter_mut().enumerate().take(self.return_count) {
            // The ring's end may lie inside a frame, so both halves are walked as one.
            let both = first.iter().chain(second);
            samples.extend(both.skip(channel).step_by(self.return_count));
        }
        chunk.commit_all();
    }
}
