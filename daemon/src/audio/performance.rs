//! What the engine is asked to play and hear, and what it answers.

use std::{
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
        mpsc::Sender,
    },
    time::Duration,
};

use super::{Loss, TimeSource, pilot::Pilot};
use crate::clock;

/// The sound of a part.
#[derive(Debug, Clone)]
pub enum Sound {
    /// All of it, rendered before.
    Whole(Arc<[f32]>),
    /// The performance's pilot, which has no end.
    Pilot,
}

/// One send's share of a performance.
#[derive(Debug, Clone)]
pub struct Part {
    /// Index of the send, from 0.
    pub send: usize,
    /// Frames by which this send plays later than the performance's first frame.
    pub delay_frames: u64,
    /// What is played, full scale = 1.
    pub sound: Sound,
    /// Ends this part alone, ramping down.
    pub cancel: Arc<Cancel>,
}

impl Part {
    /// Adds the part's frames from `first_frame` of the performance on to `block`, each times
    /// the factor that `fade` gives for its frame. `pilot` has the pilot's frames of this block.
    pub fn mix(
        &self,
        first_frame: u64,
        pilot: &[f32],
        block: &mut [f32],
        fade: impl Fn(u64) -> f32,
    ) {
        let samples = match &self.sound {
            Sound::Whole(samples) => samples,
            Sound::Pilot => {
                for ((frame, sample), value) in (first_frame..).zip(block).zip(pilot) {
                    *sample += value * fade(frame);
                }
                return;
            }
        };
        for (frame, sample) in (first_frame..).zip(block) {
            let Some(index) = frame.checked_sub(self.delay_frames) else {
                continue;
            };
            if let Some(value) = usize::try_from(index).ok().and_then(|at| samples.get(at)) {
                *sample += value * fade(frame);
            }
        }
    }
}

/// What the room has to be like before anything is played.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct QuietRule {
    /// For how many seconds the returns are heard.
    pub duration_s: f64,
    /// A 100 ms RMS above this is programme, in dBFS, unless it is steady.
    pub limit_dbfs: f64,
    /// Within so many dB a level is steady: hiss or hum.
    pub steady_db: f64,
}

/// How loud a return may become.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prediction {
    /// Index of the return, from 0.
    pub return_index: usize,
    /// Highest peak that the sends are expected to cause there, in dBFS.
    pub peak_dbfs: f64,
}

/// Where an open-ended performance was last heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place {
    /// Frame of the performance.
    pub frame: u64,
    /// Frame of the stream that it was.
    pub stream_frame: u64,
    /// Number of the stream's start or recovery; 0 where no stream is to be counted on.
    pub epoch: u64,
    /// When, by [`clock::since_boot`].
    pub at: Duration,
}

impl Place {
    /// The frame of the performance that comes at a frame of the stream: counted by the stream,
    /// else by the machine's clock, which does not stand still while the machine is suspended.
    #[must_use]
    pub fn frame_at(&self, epoch: u64, stream_frame: u64, rate_hz: u32, time: TimeSource) -> u64 {
        if epoch == self.epoch {
            return self.frame + stream_frame.saturating_sub(self.stream_frame);
        }
        if time == TimeSource::Virtual {
            return self.frame;
        }
        let passed = clock::since_boot().saturating_sub(self.at);
        self.frame + (passed.as_secs_f64() * f64::from(rate_hz)).round() as u64
    }
}

/// What makes a performance open-ended.
#[derive(Debug)]
pub struct OpenEnd {
    /// What its parts play; `None` where it only listens.
    pub pilot: Option<Pilot>,
    /// Where it goes on; `None` where it begins.
    pub place: Option<Place>,
}

/// One uninterrupted piece of playing and hearing.
#[derive(Debug)]
pub struct Performance {
    /// What is played; empty to only listen.
    pub parts: Vec<Part>,
    /// Frames from the first one played to the last one heard; of no meaning where it has no end.
    pub frame_count: u64,
    /// What it is where it has no end; its first frame is then where [`OpenEnd::place`] has it.
    pub open_end: Option<OpenEnd>,
    /// Returns (from 0) at which a plain cable stands in the link's place: links that are matched.
    pub cabled_returns: Vec<usize>,
    /// What is expected of the returns; empty where nothing is checked.
    pub predictions: Vec<Prediction>,
    /// Ends the performance, ramping down.
    pub cancel: Arc<Cancel>,
    /// Where the answers go.
    pub answers: Sender<Answer>,
}

/// A switch that ends a performance, and remembers who turned it.
#[derive(Debug, Default)]
pub struct Cancel(AtomicBool);

impl Cancel {
    /// Ends the performance.
    pub fn set(&self) {
        self.0.store(true, Ordering::Release);
    }

    /// True once it is to end.
    #[must_use]
    pub fn is_set(&self) -> bool {
        self.0.load(Ordering::Acquire)
    }
}

/// Consecutive frames of all returns.
#[derive(Debug, Clone, PartialEq)]
pub struct Captured {
    /// Number of the stream's start or recovery.
    pub epoch: u64,
    /// Frame of the performance, from 0.
    pub first_frame: u64,
    /// Frame of the interface's stream.
    pub stream_frame: u64,
    /// One vector a return, all of one length.
    pub returns: Vec<Vec<f32>>,
}

/// What the engine answers to a performance, in order; the last one is an [`Ended`].
#[derive(Debug, Clone, PartialEq)]
pub enum Answer {
    /// More was heard.
    Captured(Arc<Captured>),
    /// The performance is over.
    Ended(Ended),
}

/// How a performance ended.
#[derive(Debug, Clone, PartialEq)]
pub enum Ended {
    /// All frames were played and heard.
    Complete {
        /// Number of the stream's start or recovery.
        epoch: u64,
    },
    /// Frames were lost: what was heard is void.
    Lost(Loss),
    /// Somebody ended it.
    Cancelled,
    /// The interface is gone.
    DeviceLost {
        /// What was seen, with the device's name.
        text: String,
    },
    /// The room answered louder than predicted.
    TooLoud {
        /// Index of the return, from 0.
        return_index: usize,
        /// Peak that was heard, in dBFS.
        heard_dbfs: f64,
        /// Peak that was expected, in dBFS.
        expected_dbfs: f64,
    },
}
