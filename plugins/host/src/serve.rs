//! One reply for every call, until the daemon closes the pipe.

use std::io;

use goodwire_proto::pipe::{BeginCall, CallKind, Frame, OwnedBlock, RenderCall, ReplyKind};

use crate::{
    library::{Library, Reply, garbage},
    protocol::Protocol,
};

/// Serves calls until the end of the input. A library that could not be loaded is told in reply
/// to every call.
///
/// # Errors
/// Whatever the pipe gives.
pub fn serve(protocol: &mut Protocol, mut library: Result<Library, String>) -> io::Result<()> {
    while let Some(call) = Frame::read(protocol)? {
        let (kind, payload) = match &mut library {
            Ok(library) => answer(library, &call),
            Err(text) => (ReplyKind::Unusable, text.as_bytes().to_vec()),
        };
        let reply = Frame {
            kind: kind as u32,
            sequence: call.sequence,
            payload,
        };
        reply.write(protocol)?;
    }
    Ok(())
}

fn answer(library: &mut Library, call: &Frame) -> Reply {
    let payload = &call.payload;
    let unreadable = || garbage("the daemon sent a call that cannot be read");
    match CallKind::of(call.kind) {
        Some(CallKind::Describe) => library.describe(),
        Some(CallKind::Open) => library.open(payload),
        Some(CallKind::Plan) => library.plan(),
        Some(CallKind::Render) => {
            RenderCall::decode(payload).map_or_else(unreadable, |asked| library.render(asked))
        }
        Some(CallKind::Begin) => {
            BeginCall::decode(payload).map_or_else(unreadable, |asked| library.begin(asked))
        }
        Some(CallKind::Feed) => {
            OwnedBlock::decode(payload).map_or_else(unreadable, |block| library.feed(&block))
        }
        Some(CallKind::Note) => library.note(payload),
        Some(CallKind::Readings) => library.readings(),
        Some(CallKind::Finish) => library.finish(payload.first() == Some(&1)),
        Some(CallKind::Close) => library.close(),
        None => unreadable(),
    }
}
