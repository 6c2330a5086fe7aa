//! What [`export_plugin!`](crate::export_plugin) puts between the C calls and a plugin: null and
//! length checks, panics caught, one owner for every buffer.

mod said;

use std::{
    ffi::c_void,
    marker::PhantomData,
    panic::{AssertUnwindSafe, catch_unwind},
    ptr, slice,
};

pub use goodwire_plugin_abi::PluginTable;
use goodwire_plugin_abi::{
    ABI_MAJOR, ABI_MINOR, BLOCK_LAST, BROKEN, Block as RawBlock, Bytes, ENOUGH, INVALID, OK,
    SessionHandle, Status,
};
use prost::Message;

use crate::{Block, Failure, Fed, OpenError, Plugin, Session, payload};
use said::{Said, bad_call, outside, panic_text};

/// Most bytes that a message may have.
const MESSAGE_BYTES_MAX: u64 = 64 << 20;
/// Most channels that a block may have.
const CHANNEL_COUNT_MAX: u32 = 64;
/// Most frames that one block or one rendering may have.
const FRAME_COUNT_MAX: u32 = 1 << 24;

/// The table of the plugin `P`.
pub struct Exported<P>(PhantomData<P>);

impl<P: Plugin> Exported<P> {
    const TABLE: &'static PluginTable = &PluginTable {
        abi_major: ABI_MAJOR,
        abi_minor: ABI_MINOR,
        describe: Some(describe::<P>),
        open: Some(open::<P>),
        plan: Some(plan),
        render: Some(render),
        begin: Some(begin),
        feed: Some(feed),
        note: Some(note),
        readings: Some(readings),
        finish: Some(finish),
        error: Some(error),
        close: Some(close),
        extension: Some(extension),
    };

    /// The table for a host that speaks `host_major`; null where this SDK does not.
    #[must_use]
    pub fn table(host_major: u32) -> *const PluginTable {
        if host_major == ABI_MAJOR {
            ptr::from_ref(Self::TABLE)
        } else {
            ptr::null()
        }
    }
}

/// What stands behind a [`SessionHandle`].
struct Instance {
    session: Box<dyn Session>,
    said: Said,
    /// True after a panic: the session may be half changed and is not called again.
    broken: bool,
}

/// Reads a message that the host passed.
///
/// # Safety
/// `bytes` points at as many bytes as it says, or is null.
unsafe fn decode<M: Message + Default>(bytes: Bytes) -> Result<M, Failure> {
    if bytes.byte_count > MESSAGE_BYTES_MAX {
        return Err(bad_call("a message that is too long"));
    }
    let bytes = match (bytes.data.is_null(), bytes.byte_count) {
        (_, 0) => &[],
        (true, _) => return Err(bad_call("a message at null")),
        // SAFETY: not null, bounded, and the caller vouches for the rest.
        (false, count) => unsafe { slice::from_raw_parts(bytes.data, count as usize) },
    };
    M::decode(bytes).map_err(|error| bad_call(&format!("a message that cannot be read: {error}")))
}

unsafe extern "C" fn describe<P: Plugin>(description: *mut Bytes) -> Status {
    let mut said = outside();
    if description.is_null() {
        return said.fail(&bad_call("no room for the description"));
    }
    match catch_unwind(P::describe) {
        // SAFETY: checked for null; the host vouches for the room.
        Ok(message) => unsafe { said.reply(&message, description) },
        Err(panic) => said.broke(panic),
    }
}

unsafe extern "C" fn open<P: Plugin>(
    request: Bytes,
    session: *mut *mut SessionHandle,
    field_violations: *mut Bytes,
) -> Status {
    let mut said = outside();
    if session.is_null() || field_violations.is_null() {
        return said.fail(&bad_call("no room for the session"));
    }
    // SAFETY: the host vouches for the bytes of the request.
    let request = match unsafe { decode::<payload::OpenRequest>(request) } {
        Ok(request) => request,
        Err(failure) => return said.fail(&failure),
    };
    match catch_unwind(AssertUnwindSafe(|| P::open(&request))) {
        Ok(Ok(opened)) => {
            let instance = Box::new(Instance {
                session: opened,
                said: Said::NOTHING,
                broken: false,
            });
            // SAFETY: checked for null; the host vouches for the room. `close` takes the box back.
            unsafe { session.write(Box::into_raw(instance).cast()) };
            OK
        }
        Ok(Err(OpenError::Invalid(violations))) => {
            "the parameters are wrong".clone_into(&mut said.error);
            let message = payload::FieldViolations { violations };
            // SAFETY: checked for null; the host vouches for the room.
            unsafe { said.reply(&message, field_violations) };
            INVALID
        }
        Ok(Err(OpenError::Failed(failure))) => said.fail(&failure),
        Err(panic) => said.broke(panic),
    }
}

/// Lets `work` call the session behind `handle`, with panics caught and failures kept.
///
/// # Safety
/// `handle` is null, or came from `open` and was not closed; no other call is under way.
unsafe fn with(
    handle: *mut SessionHandle,
    work: impl FnOnce(&mut dyn Session, &mut Said) -> Result<Status, Failure>,
) -> Status {
    // SAFETY: the caller vouches that a handle that is not null is ours, open and unshared.
    let Some(instance) = (unsafe { handle.cast::<Instance>().as_mut() }) else {
        return outside().fail(&bad_call("no session"));
    };
    if instance.broken {
        return BROKEN;
    }
    let (session, said) = (&mut *instance.session, &mut instance.said);
    match catch_unwind(AssertUnwindSafe(|| work(session, said))) {
        Ok(Ok(status)) => status,
        Ok(Err(failure)) => instance.said.fail(&failure),
        Err(panic) => {
            instance.broken = true;
            instance.said.broke(panic)
        }
    }
}

/// Like [`with`], for calls that reply with a message.
///
/// # Safety
/// As of [`with`]; `out` is null or valid for writing.
unsafe fn with_reply<M: Message>(
    handle: *mut SessionHandle,
    out: *mut Bytes,
    work: impl FnOnce(&mut dyn Session) -> Result<M, Failure>,
) -> Status {
    // SAFETY: the caller vouches for `handle`.
    unsafe {
        with(handle, |session, said| {
            if out.is_null() {
                return Err(bad_call("no room for the reply"));
            }
            let message = work(session)?;
            // SAFETY: checked for null; the caller vouches for the room.
            Ok(said.reply(&message, out))
        })
    }
}

unsafe extern "C" fn plan(handle: *mut SessionHandle, plan: *mut Bytes) -> Status {
    // SAFETY: the host keeps the rules of the header.
    unsafe { with_reply(handle, plan, |session| session.plan()) }
}

unsafe extern "C" fn render(
    handle: *mut SessionHandle,
    step: u32,
    first_frame: u64,
    frame_count: u32,
    samples: *mut f32,
) -> Status {
    let work = |session: &mut dyn Session, _: &mut Said| {
        if frame_count == 0 {
            return Ok(OK);
        }
        if samples.is_null() || !samples.is_aligned() || frame_count > FRAME_COUNT_MAX {
            return Err(bad_call("no room for the samples, or too many of them"));
        }
        // SAFETY: not null, aligned, bounded, and filled with zeros by the host.
        let samples = unsafe { slice::from_raw_parts_mut(samples, frame_count as usize) };
        session.render(step, first_frame, samples)?;
        Ok(OK)
    };
    // SAFETY: the host keeps the rules of the header.
    unsafe { with(handle, work) }
}

unsafe extern "C" fn begin(
    handle: *mut SessionHandle,
    step: u32,
    repeat: u32,
    retry: i32,
) -> Status {
    // SAFETY: the host keeps the rules of the header.
    unsafe {
        with(handle, |session, _| {
            session.begin(step, repeat, retry != 0)?;
            Ok(OK)
        })
    }
}

unsafe extern "C" fn feed(handle: *mut SessionHandle, block: *const RawBlock) -> Status {
    let work = |session: &mut dyn Session, _: &mut Said| {
        // SAFETY: the host vouches for a block that is not null.
        let raw = unsafe { block.as_ref() }.ok_or_else(|| bad_call("no block"))?;
        // SAFETY: the host vouches for the channels of its block.
        let channels = unsafe { channels(raw) }?;
        let block = Block {
            step: raw.step,
            repeat: raw.repeat,
            first_frame: raw.first_frame,
            stream_frame: raw.stream_frame,
            last: raw.flags & BLOCK_LAST != 0,
            channels: &channels,
        };
        Ok(match session.feed(&block)? {
            Fed::More => OK,
            Fed::Enough => ENOUGH,
        })
    };
    // SAFETY: the host keeps the rules of the header.
    unsafe { with(handle, work) }
}

/// The channels of a block as slices.
///
/// # Safety
/// Every pointer of the block is null or valid for what the block says.
unsafe fn channels<'a>(raw: &RawBlock) -> Result<Vec<Option<&'a [f32]>>, Failure> {
    if raw.channel_count > CHANNEL_COUNT_MAX || raw.frame_count > FRAME_COUNT_MAX {
        return Err(bad_call("a block that is too large"));
    }
    if raw.channel_count == 0 {
        return Ok(Vec::new());
    }
    if raw.channels.is_null() {
        return Err(bad_call("a block without channels"));
    }
    // SAFETY: not null, bounded, and the caller vouches for the rest.
    let pointers = unsafe { slice::from_raw_parts(raw.channels, raw.channel_count as usize) };
    let channel = |&samples: &*const f32| {
        // SAFETY: not null, bounded, and the caller vouches for the rest.
        (!samples.is_null())
            .then(|| unsafe { slice::from_raw_parts(samples, raw.frame_count as usize) })
    };
    Ok(pointers.iter().map(channel).collect())
}

unsafe extern "C" fn note(handle: *mut SessionHandle, note: Bytes) -> Status {
    // SAFETY: the host keeps the rules of the header.
    unsafe {
        with(handle, |session, _| {
            session.note(&decode(note)?)?;
            Ok(OK)
        })
    }
}

unsafe extern "C" fn readings(handle: *mut SessionHandle, readings: *mut Bytes) -> Status {
    // SAFETY: the host keeps the rules of the header.
    unsafe { with_reply(handle, readings, |session| Ok(session.readings())) }
}

unsafe extern "C" fn finish(
    handle: *mut SessionHandle,
    ended_early: i32,
    result: *mut Bytes,
) -> Status {
    // SAFETY: the host keeps the rules of the header.
    unsafe { with_reply(handle, result, |session| session.finish(ended_early != 0)) }
}

unsafe extern "C" fn error(handle: *mut SessionHandle) -> Bytes {
    // SAFETY: the host keeps the rules of the header.
    match unsafe { handle.cast::<Instance>().as_ref() } {
        Some(instance) => Bytes::of(instance.said.error.as_bytes()),
        // The text outlives the guard: it is replaced by the next call alone.
        None => Bytes::of(outside().error.as_bytes()),
    }
}

unsafe extern "C" fn close(handle: *mut SessionHandle) {
    if handle.is_null() {
        return;
    }
    // SAFETY: the host closes a session once, and it came from the box of `open`.
    let instance = unsafe { Box::from_raw(handle.cast::<Instance>()) };
    if let Err(panic) = catch_unwind(AssertUnwindSafe(|| drop(instance))) {
        panic_text(panic);
    }
}

unsafe extern "C" fn extension(_: Bytes) -> *const c_void {
    ptr::null()
}
