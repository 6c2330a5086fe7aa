//! The audio interface: what every back end looks like to the engine.
//!
//! One engine thread owns an [`Interface`] for its whole life and exchanges blocks with it in
//! frame time. Back ends live in the folder beside this file; they alone name cpal.

mod alsa;
mod backlog;
pub mod callback;
mod closing;
pub mod devices;
pub mod engine;
mod jack;
pub mod listening;
pub mod meters;
mod open;
mod paced;
pub mod performance;
pub mod pilot;
pub mod queue;
mod ramp;
mod scheduling;
pub mod shared;
mod stage;
mod watchdog;

pub use self::{
    alsa::{AlsaInterface, DELAY_NOTE, is_transparent},
    jack::JackInterface,
    open::{OpenConfig, open},
    paced::Paced,
};

use std::{
    sync::{
        Arc,
        atomic::{AtomicBool, AtomicU64, Ordering},
    },
    time::Duration,
};

/// What paces the frames.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TimeSource {
    /// A device's own clock.
    Device,
    /// The machine's clock, for a simulated rig in real time.
    Paced,
    /// Nothing: frames are computed as fast as they are asked for.
    Virtual,
}

/// What an interface is: fixed from opening to closing.
#[derive(Debug, Clone, PartialEq)]
pub struct Shape {
    /// `simulated`, `jack` or `alsa`.
    pub backend: &'static str,
    /// The device, as `devices` names it.
    pub device: String,
    /// Rate in Hz, as read back from the device.
    pub rate_hz: u32,
    /// How many sends there are.
    pub send_count: usize,
    /// How many returns there are.
    pub return_count: usize,
    /// Frames in one period of the device, as read back; the natural block of the simulated rig.
    pub period_frames: usize,
    /// True where sends and returns share one clock and one start: frame n played is frame n heard.
    pub locked: bool,
    /// True for the simulated rig.
    pub simulated: bool,
    /// What paces the frames.
    pub time: TimeSource,
    /// The device's own output latency in ms, where it is known.
    pub output_latency_ms: Option<f64>,
    /// Scheduling of the audio thread as read back: `fifo 10`, `other`; empty where unknown.
    pub scheduling: String,
}

/// How many frames are missing before the frames of a [`Heard`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Loss {
    /// Exactly so many.
    Frames(u64),
    /// Some; the device does not say how many.
    Unknown,
}

/// What one exchange brought.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Heard {
    /// Number of the stream's start or recovery, from 1. Frames of two epochs are never compared.
    pub epoch: u64,
    /// Stream frame of the first frame that was heard.
    pub first_frame: u64,
    /// How many frames were heard; 0 where nothing came within `wait`.
    pub frame_count: usize,
    /// What is missing just before `first_frame`.
    pub lost: Option<Loss>,
}

/// Why an interface cannot be used just now.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum InterfaceError {
    /// The device vanished, or its server ended.
    #[error("the device {device} is gone: {text}")]
    Gone {
        /// The device, as `devices` names it.
        device: String,
        /// What was seen.
        text: String,
    },
    /// The device brings no frames though it says nothing.
    #[error("the device {device} has brought no frames for {silent_ms} ms")]
    Stalled {
        /// The device, as `devices` names it.
        device: String,
        /// For how long.
        silent_ms: u64,
    },
    /// Something that the configuration names does not exist yet.
    #[error("{text}")]
    Waiting {
        /// What is waited for.
        text: String,
    },
    /// The device cannot do what the configuration asks; trying again does not help.
    #[error("{text}")]
    Unfit {
        /// What does not fit, and what would.
        text: String,
    },
}

/// Silences all sends at the back end's port, without the engine. Shared with the callback.
///
/// While it is set, the callback gives silence and drops what is queued for it.
#[derive(Debug, Default)]
pub struct Mute {
    asked: AtomicBool,
    /// How often the callback has given a whole silent block since it was asked to.
    silent_blocks: AtomicU64,
}

impl Mute {
    /// Asks for silence, or allows sound again.
    pub fn set(&self, silent: bool) {
        if silent {
            self.silent_blocks.store(0, Ordering::Release);
        }
        self.asked.store(silent, Ordering::Release);
    }

    /// True while silence is asked for.
    #[must_use]
    pub fn is_set(&self) -> bool {
        self.asked.load(Ordering::Acquire)
    }

    /// Says that a whole silent block was given. Thread: audio callback; wait-free.
    pub fn confirm_silence(&self) {
        self.silent_blocks.fetch_add(1, Ordering::AcqRel);
    }

    /// True once the port has been silent for a whole block since silence was asked for.
    #[must_use]
    pub fn is_silent(&self) -> bool {
        self.is_set() && self.silent_blocks.load(Ordering::Acquire) > 0
    }
}

/// An open audio interface, real or simulated.
pub trait Interface: Send {
    /// What it is.
    fn shape(&self) -> &Shape;

    /// The switch that silences it without the engine.
    fn mute(&self) -> Arc<Mute>;

    /// Sets the highest peak of each send as a linear factor of full scale. The back end clamps
    /// what is above and counts it; the engine never lets it come to that. Real devices stay
    /// silent until this was called.
    fn set_ceilings(&mut self, peak: &[f32]);

    /// Xruns since it was opened.
    fn xrun_count(&self) -> u64;

    /// Says at which returns (from 0) a plain cable is to stand in the links' place from now on;
    /// at all others the links are back. On a real rig that is for people to do, and this does
    /// nothing; the simulated rig plugs them by itself, so that its links can be matched.
    fn plug_cables(&mut self, _return_indices: &[usize]) {}

    /// Queues one block for `at_frame` (one slice a send, all of one length; the engine hands
    /// over consecutive frames within an epoch) and brings what has been heard, appended to
    /// `heard` (one vector a return).
    ///
    /// A device waits for frames, at most `wait`; virtual time computes at once and hears exactly
    /// as many frames as were played. After a recovery `epoch` is new, and `at_frame` of the
    /// next call must be at or after the new `first_frame + frame_count`.
    ///
    /// A device keeps about 100 ms queued: at the start of an epoch it takes blocks and gives no
    /// frames until that much is there, then paces the caller. The first 10 ms of an epoch are
    /// ramped. An exchange that tells of a new epoch took nothing of what was handed to it.
    ///
    /// # Errors
    /// An [`InterfaceError`] ends the use of this interface: drop it and open it again.
    fn exchange(
        &mut self,
        at_frame: u64,
        play: &[&[f32]],
        heard: &mut [Vec<f32>],
        wait: Duration,
    ) -> Result<Heard, InterfaceError>;
}
