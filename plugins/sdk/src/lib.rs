//! Write a goodwire plugin in safe Rust: implement [`Plugin`] and [`Session`], then call
//! [`export_plugin!`]. Build a `cdylib` whose file is named `libgoodwire_plugin_….so`.
//!
//! A whole plugin (`examples/goodwire_plugin_loudest.rs` beside this crate):
//!
//! ```
#![doc = include_str!("../examples/goodwire_plugin_loudest.rs")]
//! ```

pub mod describe;
#[doc(hidden)]
pub mod export;
pub mod figures;
pub mod parameters;
pub mod take;

pub use goodwire_proto::plugin::v1 as payload;
pub use goodwire_proto::v1 as api;
pub use prost_types::{ListValue, Struct, Value, value::Kind};

/// Exports a [`Plugin`] as the C symbol that the host looks for. Once in a library.
///
/// Every call is checked for null and for lengths. A panic inside one becomes an error that names
/// it; the session is not called again after that. `panic = "abort"` defeats this: leave it alone.
#[macro_export]
macro_rules! export_plugin {
    ($plugin:ty) => {
        /// The entry of this library; see `goodwire_plugin.h`.
        #[unsafe(no_mangle)]
        pub extern "C" fn goodwire_plugin(
            host_major: u32,
            _host_minor: u32,
        ) -> *const $crate::export::PluginTable {
            $crate::export::Exported::<$plugin>::table(host_major)
        }
    };
}

/// A plugin: one or several analyses in one library.
pub trait Plugin: 'static {
    /// Says what the plugin is and what can be set. No side effects, under 100 ms.
    fn describe() -> payload::Description;

    /// Starts a session for one measurement. Parameters are complete and within their schema.
    ///
    /// # Errors
    /// [`OpenError::Invalid`] names every parameter that does not go with another or with the rate.
    fn open(request: &payload::OpenRequest) -> Result<Box<dyn Session>, OpenError>;
}

/// One measurement, from its plan to its result.
///
/// Calls come one at a time, in this order: `plan`, then for each step and repeat `begin` and
/// `feed`s, then `finish`. `render` may come at any time after `plan`.
pub trait Session {
    /// Says what is to be played and heard.
    ///
    /// # Errors
    /// A [`Failure`] ends the measurement with its reason.
    fn plan(&mut self) -> Result<payload::Plan, Failure>;

    /// Fills `samples` with the stimulus of `step` from `first_frame` on. A pure function of the
    /// request, the step and the frame; frames past the end are silence. Silence unless the
    /// session plays.
    ///
    /// # Errors
    /// A [`Failure`] ends the measurement with its reason.
    fn render(&mut self, step: u32, first_frame: u64, samples: &mut [f32]) -> Result<(), Failure> {
        let _ = (step, first_frame);
        samples.fill(0.0);
        Ok(())
    }

    /// Says that blocks of this repeat follow. `retry`: what the void repeat fed is to be forgotten.
    ///
    /// # Errors
    /// A [`Failure`] ends the measurement with its reason.
    fn begin(&mut self, step: u32, repeat: u32, retry: bool) -> Result<(), Failure>;

    /// Takes one block of captured frames.
    ///
    /// # Errors
    /// A [`Failure`] ends the measurement with its reason.
    fn feed(&mut self, block: &Block<'_>) -> Result<Fed, Failure>;

    /// Takes a note of something at a frame. Does nothing unless the session cares.
    ///
    /// # Errors
    /// A [`Failure`] ends the measurement with its reason.
    fn note(&mut self, note: &payload::SessionNote) -> Result<(), Failure> {
        let _ = note;
        Ok(())
    }

    /// Gives the numbers of the moment. None unless the session has some.
    fn readings(&mut self) -> payload::Readings {
        payload::Readings::default()
    }

    /// Gives the result; called once.
    ///
    /// # Errors
    /// A [`Failure`] ends the measurement with its reason, for example `no-signal`.
    fn finish(&mut self, ended_early: bool) -> Result<payload::SessionResult, Failure>;
}

/// Consecutive frames of the planned captures.
#[derive(Debug, Clone, Copy)]
pub struct Block<'a> {
    /// Number of the step, from 0.
    pub step: u32,
    /// Number of the play of this step, from 0, retries included.
    pub repeat: u32,
    /// Index of the first frame in the stimulus; of recordings, in the file.
    pub first_frame: u64,
    /// The link channel's frame on the interface's stream, for events.
    pub stream_frame: u64,
    /// True for the last block of this repeat.
    pub last: bool,
    /// One slice a capture of the plan, all of one length; `None` where the rig has no such channel.
    pub channels: &'a [Option<&'a [f32]>],
}

/// What a session says to a block.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fed {
    /// More is welcome.
    More,
    /// The session has seen enough: stop playing and finish.
    Enough,
}

/// Why a session cannot go on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Failure {
    /// Stable id in kebab-case, for example `no-signal`.
    pub id: String,
    /// The reason in a sentence, with what would be right.
    pub text: String,
    /// Whose sound it speaks of: `link` or `reference`; empty where it is neither.
    pub channel: &'static str,
}

impl Failure {
    /// Makes a failure from its id and its sentence.
    pub fn new(id: impl Into<String>, text: impl Into<String>) -> Self {
        Self {
            id: id.into(),
            text: text.into(),
            channel: "",
        }
    }

    /// Says whose sound it speaks of, so that a silent reference is not blamed on the link.
    #[must_use]
    pub fn about(self, channel: &'static str) -> Self {
        Self { channel, ..self }
    }
}

/// Why a session could not be opened.
#[derive(Debug, Clone, PartialEq)]
pub enum OpenError {
    /// Parameters are wrong: all of them, each with what would be right.
    Invalid(Vec<payload::FieldViolation>),
    /// Something else.
    Failed(Failure),
}

impl From<Failure> for OpenError {
    fn from(failure: Failure) -> Self {
        Self::Failed(failure)
    }
}
