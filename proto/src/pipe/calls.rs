//! The calls that the daemon makes and the replies that a plugin host gives, as frames.
//!
//! | call | payload | payload of `Done` |
//! |---|---|---|
//! | `Describe` | none | `Description` |
//! | `Open` | `OpenRequest` | none |
//! | `Plan` | none | `Plan` |
//! | `Render` | [`RenderCall`] | samples, `f32` little endian |
//! | `Begin` | [`BeginCall`] | none |
//! | `Feed` | a [`Block`](super::Block) | none; `Enough` instead of `Done` where it is enough |
//! | `Note` | `SessionNote` | none |
//! | `Readings` | none | `Readings` |
//! | `Finish` | one byte: 1 where it ended early | `SessionResult` |
//! | `Close` | none | none |

use std::fmt;

/// What the daemon asks of a host; the kind of its frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CallKind {
    /// What is the plugin?
    Describe = 1,
    /// Start a session.
    Open = 2,
    /// What is to be played and heard?
    Plan = 3,
    /// Give samples of the stimulus.
    Render = 4,
    /// Blocks of a repeat follow.
    Begin = 5,
    /// Take a block.
    Feed = 6,
    /// Take a note.
    Note = 7,
    /// Give the numbers of the moment.
    Readings = 8,
    /// Give the result.
    Finish = 9,
    /// End the session.
    Close = 10,
}

impl CallKind {
    const ALL: [Self; 10] = [
        Self::Describe,
        Self::Open,
        Self::Plan,
        Self::Render,
        Self::Begin,
        Self::Feed,
        Self::Note,
        Self::Readings,
        Self::Finish,
        Self::Close,
    ];

    /// The call of a frame's kind. `None` where there is no such call.
    #[must_use]
    pub fn of(kind: u32) -> Option<Self> {
        Self::ALL.into_iter().find(|call| *call as u32 == kind)
    }
}

impl fmt::Display for CallKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Describe => "describe",
            Self::Open => "open",
            Self::Plan => "plan",
            Self::Render => "render",
            Self::Begin => "begin",
            Self::Feed => "feed",
            Self::Note => "note",
            Self::Readings => "readings",
            Self::Finish => "finish",
            Self::Close => "close",
        })
    }
}

/// What a host answers; the kind of its frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReplyKind {
    /// The call succeeded; the payload is the call's.
    Done = 0x100,
    /// Of `Feed`: succeeded, and no more is needed. No payload.
    Enough = 0x101,
    /// Of `Open`: the parameters are wrong. The payload is `FieldViolations`.
    Invalid = 0x102,
    /// An ordinary failure. The payload is the plugin's text, `id: sentence` or
    /// `id@channel: sentence`.
    Failed = 0x103,
    /// The plugin called itself broken. The payload is its text.
    Broken = 0x104,
    /// The plugin did what the ABI forbids. The payload is the host's text.
    Garbage = 0x105,
    /// The library cannot be used as a plugin. The payload is the host's text.
    Unusable = 0x106,
}

impl ReplyKind {
    const ALL: [Self; 7] = [
        Self::Done,
        Self::Enough,
        Self::Invalid,
        Self::Failed,
        Self::Broken,
        Self::Garbage,
        Self::Unusable,
    ];

    /// The reply of a frame's kind. `None` where there is no such reply.
    #[must_use]
    pub fn of(kind: u32) -> Option<Self> {
        Self::ALL.into_iter().find(|reply| *reply as u32 == kind)
    }
}

/// Asks for samples of the stimulus.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RenderCall {
    /// Number of the step, from 0.
    pub step: u32,
    /// How many frames to render.
    pub frame_count: u32,
    /// Frame of the step to start at.
    pub first_frame: u64,
}

impl RenderCall {
    /// Most frames that one call may ask for.
    pub const FRAME_COUNT_MAX: u32 = 1 << 20;

    /// The call as a payload.
    #[must_use]
    pub fn encode(&self) -> Vec<u8> {
        let mut payload = Vec::with_capacity(16);
        payload.extend(self.step.to_le_bytes());
        payload.extend(self.frame_count.to_le_bytes());
        payload.extend(self.first_frame.to_le_bytes());
        payload
    }

    /// The call of a payload. `None` where it is none, or asks for too much.
    #[must_use]
    pub fn decode(payload: &[u8]) -> Option<Self> {
        let payload: &[u8; 16] = payload.try_into().ok()?;
        let call = Self {
            step: word(payload, 0)?,
            frame_count: word(payload, 4)?,
            first_frame: long(payload, 8)?,
        };
        (call.frame_count <= Self::FRAME_COUNT_MAX).then_some(call)
    }
}

/// Says that blocks of a repeat follow.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BeginCall {
    /// Number of the step, from 0.
    pub step: u32,
    /// Number of the play of this step, from 0, retries included.
    pub repeat: u32,
    /// True where what the void repeat fed is to be forgotten.
    pub retry: bool,
}

impl BeginCall {
    /// The call as a payload.
    #[must_use]
    pub fn encode(&self) -> Vec<u8> {
        let mut payload = Vec::with_capacity(9);
        payload.extend(self.step.to_le_bytes());
        payload.extend(self.repeat.to_le_bytes());
        payload.push(self.retry.into());
        payload
    }

    /// The call of a payload. `None` where it is none.
    #[must_use]
    pub fn decode(payload: &[u8]) -> Option<Self> {
        let payload: &[u8; 9] = payload.try_into().ok()?;
        Some(Self {
            step: word(payload, 0)?,
            repeat: word(payload, 4)?,
            retry: payload[8] != 0,
        })
    }
}

/// The little-endian `u32` at byte `at`.
pub(super) fn word(payload: &[u8], at: usize) -> Option<u32> {
    let bytes = payload.get(at..at + 4)?;
    bytes.try_into().ok().map(u32::from_le_bytes)
}

/// The little-endian `u64` at byte `at`.
pub(super) fn long(payload: &[u8], at: usize) -> Option<u64> {
    let bytes = payload.get(at..at + 8)?;
    bytes.try_into().ok().map(u64::from_le_bytes)
}
