//! The pilot as the body of a stimulus.

use std::cell::RefCell;

use super::Pilot;
use crate::stimulus::Body;

/// Frames that are rendered at a time: samples are asked for one by one, mostly in order.
const CHUNK: usize = 4096;

/// So many frames of the pilot.
pub struct PilotBody {
    frame_count: usize,
    chunk: RefCell<Chunk>,
}

struct Chunk {
    pilot: Pilot,
    number: Option<usize>,
    samples: Vec<f32>,
}

impl PilotBody {
    /// The first `frame_count` frames of the pilot of `seed`, whose peak is `level_dbfs`.
    #[must_use]
    pub fn new(rate_hz: f64, level_dbfs: f64, seed: u64, frame_count: usize) -> Self {
        Self {
            frame_count,
            chunk: RefCell::new(Chunk {
                pilot: Pilot::new(rate_hz, level_dbfs, seed),
                number: None,
                samples: vec![0.0; CHUNK],
            }),
        }
    }
}

impl Body for PilotBody {
    fn frame_count(&self) -> usize {
        self.frame_count
    }

    fn sample(&self, frame: usize) -> f64 {
        let mut chunk = self.chunk.borrow_mut();
        let Chunk {
            pilot,
            number,
            samples,
        } = &mut *chunk;
        if *number != Some(frame / CHUNK) {
            *number = Some(frame / CHUNK);
            pilot.render((frame / CHUNK * CHUNK) as u64, samples);
        }
        f64::from(samples[frame % CHUNK])
    }
}
