//! How long a plugin may take.

use std::time::Duration;

use goodwire_proto::pipe::CallKind;

/// The longest that each call may take. A host that has not answered by then is hung.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Starting the host, loading the library and describing it.
    pub describe: Duration,
    /// Starting the host, loading the library and opening a session.
    pub open: Duration,
    /// Planning, rendering at most 2^18 frames, beginning a repeat, taking a note.
    pub step: Duration,
    /// Taking one block of at most 2^18 frames.
    pub feed: Duration,
    /// Giving the numbers of the moment.
    pub readings: Duration,
    /// Computing the result.
    pub finish: Duration,
    /// Ending the session.
    pub close: Duration,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            describe: Duration::from_secs(2),
            open: Duration::from_secs(5),
            step: Duration::from_secs(5),
            feed: Duration::from_secs(10),
            // On a busy machine even a short answer may be late.
            readings: Duration::from_secs(10),
            finish: Duration::from_secs(60),
            close: Duration::from_secs(1),
        }
    }
}

impl Limits {
    /// The limit of one kind of call.
    #[must_use]
    pub fn of(&self, call: CallKind) -> Duration {
        match call {
            CallKind::Describe => self.describe,
            CallKind::Open => self.open,
            CallKind::Plan | CallKind::Render | CallKind::Begin | CallKind::Note => self.step,
            CallKind::Feed => self.feed,
            CallKind::Readings => self.readings,
            CallKind::Finish => self.finish,
            CallKind::Close => self.close,
        }
    }
}
