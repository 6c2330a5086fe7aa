//! The C interface between a plugin library and its host, as Rust sees it.
//!
//! `include/goodwire_plugin.h` beside this crate is the authority: there every call says its
//! state, owner and lifetime. A test compiles that header and compares layout and constants.

use std::ffi::c_void;

/// Major version of the interface; both sides must have the same (`GW_ABI_MAJOR`).
pub const ABI_MAJOR: u32 = 1;
/// Minor version of the interface (`GW_ABI_MINOR`).
pub const ABI_MINOR: u32 = 0;

/// The exported symbol's name.
pub const ENTRY_SYMBOL: &str = "goodwire_plugin";

/// What a call came to: [`OK`], [`ENOUGH`], [`INVALID`], [`FAILED`] or [`BROKEN`] (`gw_status`).
pub type Status = i32;
/// Done; outputs are written (`GW_OK`).
pub const OK: Status = 0;
/// Of `feed` only: done, and no more is needed (`GW_ENOUGH`).
pub const ENOUGH: Status = 1;
/// Of `open` only: the parameters are wrong; the field violations are written (`GW_INVALID`).
pub const INVALID: Status = -1;
/// An ordinary failure; `error` says which (`GW_FAILED`).
pub const FAILED: Status = -2;
/// A defect of the plugin; only `error` and `close` are legal from now on (`GW_BROKEN`).
pub const BROKEN: Status = -3;

/// Bit of [`Block::flags`]: the last block of this repeat (`GW_BLOCK_LAST`).
pub const BLOCK_LAST: u32 = 1;

/// Bytes of a message or of UTF-8 text (`gw_bytes`).
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct Bytes {
    /// First byte; may be null where there are none.
    pub data: *const u8,
    /// How many bytes there are.
    pub byte_count: u64,
}

impl Bytes {
    /// No bytes.
    pub const EMPTY: Self = Self {
        data: std::ptr::null(),
        byte_count: 0,
    };

    /// Points at `bytes`, which must outlive every use of the result.
    #[must_use]
    pub const fn of(bytes: &[u8]) -> Self {
        Self {
            data: bytes.as_ptr(),
            byte_count: bytes.len() as u64,
        }
    }
}

/// A session, which the plugin alone can look into (`gw_session`).
#[repr(C)]
#[derive(Debug)]
pub struct SessionHandle {
    private: [u8; 0],
}

/// Consecutive frames of the planned captures (`gw_block`).
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct Block {
    /// Number of the step in the plan, from 0.
    pub step: u32,
    /// Number of the play of this step, from 0, retries included.
    pub repeat: u32,
    /// How many channels there are: as many as the plan's captures.
    pub channel_count: u32,
    /// Samples in each channel.
    pub frame_count: u32,
    /// [`BLOCK_LAST`] or 0; unknown bits are to be ignored.
    pub flags: u32,
    /// 0.
    pub reserved: u32,
    /// Frame in the stimulus; of recordings, in the file.
    pub first_frame: u64,
    /// The link channel's frame on the interface's stream, for events.
    pub stream_frame: u64,
    /// One pointer a channel, null where the rig has no such channel.
    pub channels: *const *const f32,
}

/// The calls of a plugin (`gw_plugin`). `note`, `readings` and `extension` may be absent; a host
/// refuses a table that lacks any other.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct PluginTable {
    /// [`ABI_MAJOR`] that the plugin was built with.
    pub abi_major: u32,
    /// [`ABI_MINOR`] that the plugin was built with.
    pub abi_minor: u32,
    /// Says what the plugin is and what can be set.
    pub describe: Option<unsafe extern "C" fn(description: *mut Bytes) -> Status>,
    /// Starts a session.
    pub open: Option<
        unsafe extern "C" fn(
            request: Bytes,
            session: *mut *mut SessionHandle,
            field_violations: *mut Bytes,
        ) -> Status,
    >,
    /// Says what is to be played and heard.
    pub plan: Option<unsafe extern "C" fn(session: *mut SessionHandle, plan: *mut Bytes) -> Status>,
    /// Fills samples of the stimulus.
    pub render: Option<
        unsafe extern "C" fn(
            session: *mut SessionHandle,
            step: u32,
            first_frame: u64,
            frame_count: u32,
            samples: *mut f32,
        ) -> Status,
    >,
    /// Says that blocks of a repeat follow.
    pub begin: Option<
        unsafe extern "C" fn(
            session: *mut SessionHandle,
            step: u32,
            repeat: u32,
            retry: i32,
        ) -> Status,
    >,
    /// Takes one block.
    pub feed:
        Option<unsafe extern "C" fn(session: *mut SessionHandle, block: *const Block) -> Status>,
    /// Takes a note of something at a frame.
    pub note: Option<unsafe extern "C" fn(session: *mut SessionHandle, note: Bytes) -> Status>,
    /// Gives the numbers of the moment.
    pub readings:
        Option<unsafe extern "C" fn(session: *mut SessionHandle, readings: *mut Bytes) -> Status>,
    /// Gives the result.
    pub finish: Option<
        unsafe extern "C" fn(
            session: *mut SessionHandle,
            ended_early: i32,
            result: *mut Bytes,
        ) -> Status,
    >,
    /// Says what the last call that did not succeed came to: `id: sentence`, or
    /// `id@channel: sentence` where the channel is `link` or `reference`.
    pub error: Option<unsafe extern "C" fn(session: *mut SessionHandle) -> Bytes>,
    /// Ends the session and frees it.
    pub close: Option<unsafe extern "C" fn(session: *mut SessionHandle)>,
    /// Gives the table of an ability that came later, by its id.
    pub extension: Option<unsafe extern "C" fn(id: Bytes) -> *const c_void>,
}

/// The exported symbol: gives a static table, or null where `host_major` is not spoken.
pub type EntryPoint = unsafe extern "C" fn(host_major: u32, host_minor: u32) -> *const PluginTable;
