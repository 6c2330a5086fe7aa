//! The plugin library, loaded once and never unloaded.

use std::{error::Error as _, mem, path::Path, ptr};

use goodwire_plugin_abi::{
    ABI_MAJOR, ABI_MINOR, BROKEN, Block, Bytes, ENOUGH, ENTRY_SYMBOL, EntryPoint, FAILED, INVALID,
    OK, PluginTable, SessionHandle, Status,
};
use goodwire_proto::pipe::{
    BeginCall, OwnedBlock, PAYLOAD_BYTES_MAX, RenderCall, ReplyKind, append_samples,
};
use libloading::os::unix::{Library as Loaded, RTLD_LOCAL, RTLD_NOW};

/// A reply: its kind and its payload.
pub type Reply = (ReplyKind, Vec<u8>);

/// A reply that is not `Done`.
type Refusal = Reply;

/// A loaded plugin, and the session that it opened.
pub struct Library {
    table: PluginTable,
    session: *mut SessionHandle,
}

impl Library {
    /// Loads the library at `path`, which is absolute.
    ///
    /// # Errors
    /// Why it cannot be used as a plugin, in a sentence.
    pub fn load(path: &Path) -> Result<Self, String> {
        // SAFETY: loading runs the library's constructors. That is what this process is for.
        let library =
            unsafe { Loaded::open(Some(path), RTLD_NOW | RTLD_LOCAL) }.map_err(|error| {
                let cause = error.source().map(ToString::to_string);
                format!(
                    "the library cannot be loaded: {}",
                    cause.unwrap_or(error.to_string())
                )
            })?;
        // SAFETY: the symbol of this name has this type; see goodwire_plugin.h.
        let entry = unsafe { library.get::<EntryPoint>(ENTRY_SYMBOL.as_bytes()) }
            .map_err(|_| format!("the library exports no symbol {ENTRY_SYMBOL}"))?;
        // SAFETY: the entry point may be called at any time.
        let table = unsafe { entry(ABI_MAJOR, ABI_MINOR) };
        // Destructors of a plugin's threads would run in code that is gone.
        mem::forget(library);
        // SAFETY: the entry point gives null or a static table.
        let table = *unsafe { table.as_ref() }
            .ok_or_else(|| format!("the plugin does not speak ABI {ABI_MAJOR}"))?;
        check(&table)?;
        Ok(Self {
            table,
            session: ptr::null_mut(),
        })
    }

    /// Calls `describe`.
    pub fn describe(&self) -> Reply {
        let call = self.table.describe.expect("checked at loading");
        // SAFETY: `describe` is legal at any time.
        self.message("describe", |out| unsafe { call(out) })
    }

    /// Calls `open` with an encoded request.
    pub fn open(&mut self, request: &[u8]) -> Reply {
        if !self.session.is_null() {
            return garbage("a second session was asked for");
        }
        let call = self.table.open.expect("checked at loading");
        let mut session = ptr::null_mut();
        let mut violations = Bytes::EMPTY;
        // SAFETY: no session is open; both outputs are valid until the call returns.
        let status = unsafe { call(Bytes::of(request), &raw mut session, &raw mut violations) };
        match status {
            INVALID => copy("open", violations)
                .map_or_else(|refusal| refusal, |bytes| (ReplyKind::Invalid, bytes)),
            OK if session.is_null() => garbage("open succeeded without giving a session"),
            OK => {
                self.session = session;
                done()
            }
            other => self.refusal("open", other),
        }
    }

    /// Calls `plan`.
    pub fn plan(&self) -> Reply {
        let call = self.table.plan.expect("checked at loading");
        // SAFETY: `with_session` has checked that a session is open.
        self.with_session(|session| self.message("plan", |out| unsafe { call(session, out) }))
    }

    /// Calls `render`.
    pub fn render(&self, asked: RenderCall) -> Reply {
        let call = self.table.render.expect("checked at loading");
        self.with_session(|session| {
            let mut samples = vec![0.0_f32; asked.frame_count as usize];
            // SAFETY: a session is open, and there is room for that many samples.
            let status = unsafe {
                call(
                    session,
                    asked.step,
                    asked.first_frame,
                    asked.frame_count,
                    samples.as_mut_ptr(),
                )
            };
            if status != OK {
                return self.refusal("render", status);
            }
            let mut payload = Vec::new();
            append_samples(&mut payload, &samples);
            (ReplyKind::Done, payload)
        })
    }

    /// Calls `begin`.
    pub fn begin(&self, asked: BeginCall) -> Reply {
        let call = self.table.begin.expect("checked at loading");
        self.with_session(|session| {
            // SAFETY: a session is open.
            let status = unsafe { call(session, asked.step, asked.repeat, asked.retry.into()) };
            self.plain("begin", status)
        })
    }

    /// Calls `feed`.
    pub fn feed(&self, block: &OwnedBlock) -> Reply {
        let call = self.table.feed.expect("checked at loading");
        let pointer =
            |channel: &Option<Vec<f32>>| channel.as_ref().map_or(ptr::null(), Vec::as_ptr);
        let channels: Vec<*const f32> = block.channels.iter().map(pointer).collect();
        let raw = Block {
            step: block.step,
            repeat: block.repeat,
            channel_count: channels.len() as u32,
            frame_count: block.frame_count,
            flags: u32::from(block.last) * goodwire_plugin_abi::BLOCK_LAST,
            reserved: 0,
            first_frame: block.first_frame,
            stream_frame: block.stream_frame,
            channels: channels.as_ptr(),
        };
        self.with_session(|session| {
            // SAFETY: a session is open, and the block outlives the call.
            match unsafe { call(session, &raw const raw) } {
                ENOUGH => (ReplyKind::Enough, Vec::new()),
                status => self.plain("feed", status),
            }
        })
    }

    /// Calls `note` with an encoded note, where the plugin takes any.
    pub fn note(&self, note: &[u8]) -> Reply {
        self.with_session(|session| match self.table.note {
            None => done(),
            // SAFETY: a session is open, and the note outlives the call.
            Some(call) => self.plain("note", unsafe { call(session, Bytes::of(note)) }),
        })
    }

    /// Calls `readings`, where the plugin has any.
    pub fn readings(&self) -> Reply {
        self.with_session(|session| match self.table.readings {
            None => done(),
            // SAFETY: a session is open.
            Some(call) => self.message("readings", |out| unsafe { call(session, out) }),
        })
    }

    /// Calls `finish`.
    pub fn finish(&self, ended_early: bool) -> Reply {
        let call = self.table.finish.expect("checked at loading");
        self.with_session(|session| {
            // SAFETY: a session is open.
            self.message("finish", |out| unsafe {
                call(session, ended_early.into(), out)
            })
        })
    }

    /// Calls `close`, where a session is open.
    pub fn close(&mut self) -> Reply {
        let session = mem::replace(&mut self.session, ptr::null_mut());
        if !session.is_null() {
            let call = self.table.close.expect("checked at loading");
            // SAFETY: the session was open, and its handle is forgotten.
            unsafe { call(session) };
        }
        done()
    }

    fn with_session(&self, work: impl FnOnce(*mut SessionHandle) -> Reply) -> Reply {
        if self.session.is_null() {
            return garbage("a call came without a session");
        }
        work(self.session)
    }

    /// Makes a call that hands out a message, and copies it.
    fn message(&self, name: &str, call: impl FnOnce(*mut Bytes) -> Status) -> Reply {
        let mut out = Bytes::EMPTY;
        match call(&raw mut out) {
            OK => copy(name, out).map_or_else(|refusal| refusal, |bytes| (ReplyKind::Done, bytes)),
            status => self.refusal(name, status),
        }
    }

    /// The reply of a call that hands out nothing.
    fn plain(&self, name: &str, status: Status) -> Reply {
        match status {
            OK => done(),
            other => self.refusal(name, other),
        }
    }

    /// The reply to a status that is no success of this call.
    fn refusal(&self, name: &str, status: Status) -> Reply {
        let kind = match status {
            FAILED => ReplyKind::Failed,
            BROKEN => ReplyKind::Broken,
            other => return garbage(&format!("{name} gave the status {other}")),
        };
        let call = self.table.error.expect("checked at loading");
        // SAFETY: `error` is legal at any time, with or without a session.
        match copy("error", unsafe { call(self.session) }) {
            Ok(text) => (kind, text),
            Err(refusal) => refusal,
        }
    }
}

/// Refuses a table of another major version, or with holes where calls have to be.
fn check(table: &PluginTable) -> Result<(), String> {
    if table.abi_major != ABI_MAJOR {
        let theirs = table.abi_major;
        return Err(format!(
            "the plugin speaks ABI {theirs}, this host {ABI_MAJOR}"
        ));
    }
    let calls = [
        ("describe", table.describe.is_some()),
        ("open", table.open.is_some()),
        ("plan", table.plan.is_some()),
        ("render", table.render.is_some()),
        ("begin", table.begin.is_some()),
        ("feed", table.feed.is_some()),
        ("finish", table.finish.is_some()),
        ("error", table.error.is_some()),
        ("close", table.close.is_some()),
    ];
    match calls.iter().find(|(_, there)| !there) {
        Some((name, _)) => Err(format!("the plugin's table has no {name}")),
        None => Ok(()),
    }
}

/// Copies what the plugin handed out.
fn copy(what: &str, bytes: Bytes) -> Result<Vec<u8>, Refusal> {
    let byte_count = bytes.byte_count;
    if byte_count > PAYLOAD_BYTES_MAX as u64 {
        return Err(garbage(&format!("{what} handed out {byte_count} bytes")));
    }
    if byte_count == 0 {
        return Ok(Vec::new());
    }
    if bytes.data.is_null() {
        return Err(garbage(&format!(
            "{what} handed out {byte_count} bytes at null"
        )));
    }
    // SAFETY: not null and bounded. A plugin that lies costs this process alone.
    let bytes = unsafe { std::slice::from_raw_parts(bytes.data, byte_count as usize) };
    Ok(bytes.to_vec())
}

fn done() -> Reply {
    (ReplyKind::Done, Vec::new())
}

/// The reply to what the ABI forbids.
pub fn garbage(what: &str) -> Reply {
    (ReplyKind::Garbage, what.as_bytes().to_vec())
}
