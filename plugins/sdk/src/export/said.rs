//! What a plugin last said, kept until the next call.

use std::{
    any::Any,
    sync::{Mutex, MutexGuard, PoisonError},
};

use goodwire_plugin_abi::{BROKEN, Bytes, FAILED, OK, Status};
use prost::Message;

use crate::Failure;

/// What was last handed out; kept until the next call.
pub struct Said {
    reply: Vec<u8>,
    /// `id: sentence` or `id@channel: sentence` of the last call that did not succeed.
    pub error: String,
}

impl Said {
    /// Before anything was said.
    pub const NOTHING: Self = Self {
        reply: Vec::new(),
        error: String::new(),
    };

    /// Keeps a failure's words.
    pub fn fail(&mut self, failure: &Failure) -> Status {
        let Failure { id, text, channel } = failure;
        self.error = match *channel {
            "" => format!("{id}: {text}"),
            channel => format!("{id}@{channel}: {text}"),
        };
        FAILED
    }

    /// Keeps a panic's words.
    pub fn broke(&mut self, panic: Box<dyn Any + Send>) -> Status {
        self.error = format!("plugin-panicked: {}", panic_text(panic));
        BROKEN
    }

    /// Keeps `message` and points `out` at it.
    ///
    /// # Safety
    /// `out` is valid for writing.
    pub unsafe fn reply(&mut self, message: &impl Message, out: *mut Bytes) -> Status {
        self.reply = message.encode_to_vec();
        // SAFETY: the caller vouches for `out`; the bytes stay until the next call replaces them.
        unsafe { out.write(Bytes::of(&self.reply)) };
        OK
    }
}

/// What `describe` and `open` said, which have no session to keep it.
static OUTSIDE: Mutex<Said> = Mutex::new(Said::NOTHING);

/// What `describe` and `open` said last.
pub fn outside() -> MutexGuard<'static, Said> {
    OUTSIDE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The words of a panic.
pub fn panic_text(panic: Box<dyn Any + Send>) -> String {
    let text = if let Some(text) = panic.downcast_ref::<&str>() {
        (*text).to_owned()
    } else if let Some(text) = panic.downcast_ref::<String>() {
        text.clone()
    } else {
        "the plugin panicked without words".to_owned()
    };
    // What a plugin panics with may panic again when it is dropped.
    std::mem::forget(panic);
    text
}

/// The failure of a call that no sound host makes.
pub fn bad_call(what: &str) -> Failure {
    Failure::new("bad-call", format!("the host called with {what}"))
}
