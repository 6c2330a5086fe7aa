//! A stimulus without an end: rendered in chunks a few seconds ahead of the engine, by somebody else.

use std::{
    sync::mpsc::{self, Receiver, RecvTimeoutError, Sender, SyncSender},
    time::Duration,
};

/// Chunks that may wait to be played; the one that is rendered meanwhile comes on top.
const CHUNKS_AHEAD: usize = 8;

/// Asks for everything from a frame on, until nobody takes it any more.
#[derive(Debug)]
pub struct Ask {
    /// First frame that is wanted.
    pub first_frame: u64,
    /// Where consecutive chunks go.
    pub chunks: SyncSender<Vec<f32>>,
}

/// What can be had of a pilot just now.
#[derive(Debug, Clone, PartialEq)]
pub enum Taken {
    /// As many samples as were asked for.
    Samples(Vec<f32>),
    /// They are not rendered yet.
    Late,
    /// Nothing more comes: whoever renders has failed, and says why elsewhere.
    Ended,
}

/// The engine's end: takes samples in order.
#[derive(Debug)]
pub struct Pilot {
    asks: Sender<Ask>,
    chunks: Option<Receiver<Vec<f32>>>,
    ready: Vec<f32>,
}

impl Pilot {
    /// A pilot that is rendered by whoever gets what it asks.
    #[must_use]
    pub fn new(asks: Sender<Ask>) -> Self {
        Self {
            asks,
            chunks: None,
            ready: Vec::new(),
        }
    }

    /// Asks for everything from a frame on; what was asked for before is forgotten.
    pub fn begin(&mut self, first_frame: u64) {
        let (chunks, taken) = mpsc::sync_channel(CHUNKS_AHEAD);
        self.ready.clear();
        self.chunks = Some(taken);
        // Where nobody renders any more, the channel of the chunks is closed, which `take` tells.
        let _ = self.asks.send(Ask {
            first_frame,
            chunks,
        });
    }

    /// Takes the next samples; waits at most so long for each chunk.
    pub fn take(&mut self, frame_count: usize, wait: Duration) -> Taken {
        while self.ready.len() < frame_count {
            let Some(chunks) = &self.chunks else {
                return Taken::Ended;
            };
            match chunks.recv_timeout(wait) {
                Ok(chunk) => self.ready.extend(chunk),
                Err(RecvTimeoutError::Timeout) => return Taken::Late,
                Err(RecvTimeoutError::Disconnected) => return Taken::Ended,
            }
        }
        let rest = self.ready.split_off(frame_count);
        Taken::Samples(std::mem::replace(&mut self.ready, rest))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chunks_of_100_frames_are_taken_64_at_a_time_in_order_and_late_ones_are_told() {
        let (asks, asked) = mpsc::channel();
        let mut pilot = Pilot::new(asks);
        assert_eq!(pilot.take(1, Duration::ZERO), Taken::Ended);
        pilot.begin(1000);
        let Ask {
            first_frame,
            chunks,
        } = asked.recv().unwrap();
        let chunk = |first: u64| (first..first + 100).map(|frame| frame as f32).collect();
        chunks.send(chunk(first_frame)).unwrap();
        chunks.send(chunk(first_frame + 100)).unwrap();
        for first in [1000, 1064, 1128] {
            let Taken::Samples(samples) = pilot.take(64, Duration::ZERO) else {
                panic!("they are there");
            };
            assert_eq!((samples.len(), samples[0]), (64, first as f32));
        }
        // Only 8 of the 200 are left.
        assert_eq!(pilot.take(64, Duration::ZERO), Taken::Late);
        drop(chunks);
        assert_eq!(pilot.take(64, Duration::ZERO), Taken::Ended);
    }
}
