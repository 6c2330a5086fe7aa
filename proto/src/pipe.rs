//! The frames that the daemon and a plugin host exchange over pipes.
//!
//! A frame is a little-endian header of three `u32` (payload length in bytes, kind, sequence
//! number), then the payload. Every call has one reply of the same sequence number.

mod audio;
mod calls;

use std::io::{self, Read, Write};

pub use audio::{Block, OwnedBlock, append_samples, read_samples};
pub use calls::{BeginCall, CallKind, RenderCall, ReplyKind};

/// Largest payload that either side accepts, in bytes.
pub const PAYLOAD_BYTES_MAX: usize = 64 << 20;
/// Bytes of an ordinary block of sound, and more than most replies have.
const BLOCK_BYTES: usize = 256 << 10;

/// One call or reply.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Frame {
    /// What the payload is; the kinds are the caller's.
    pub kind: u32,
    /// Number of the call, repeated in its reply.
    pub sequence: u32,
    /// The bytes.
    pub payload: Vec<u8>,
}

impl Frame {
    /// Writes the frame and flushes.
    ///
    /// # Errors
    /// Whatever the pipe gives; `InvalidInput` for a payload above [`PAYLOAD_BYTES_MAX`].
    pub fn write(&self, pipe: &mut impl Write) -> io::Result<()> {
        if self.payload.len() > PAYLOAD_BYTES_MAX {
            let text = format!("payload of {} bytes is too long", self.payload.len());
            return Err(io::Error::new(io::ErrorKind::InvalidInput, text));
        }
        let length = u32::try_from(self.payload.len()).expect("checked against the largest");
        let mut header = [0; 12];
        header[..4].copy_from_slice(&length.to_le_bytes());
        header[4..8].copy_from_slice(&self.kind.to_le_bytes());
        header[8..].copy_from_slice(&self.sequence.to_le_bytes());
        pipe.write_all(&header)?;
        pipe.write_all(&self.payload)?;
        pipe.flush()
    }

    /// Reads one frame. `None` at the end of the stream.
    ///
    /// # Errors
    /// Whatever the pipe gives; `InvalidData` for a length above [`PAYLOAD_BYTES_MAX`] and
    /// `UnexpectedEof` for a frame that is cut off.
    pub fn read(pipe: &mut impl Read) -> io::Result<Option<Self>> {
        let mut header = [0; 12];
        if pipe.read(&mut header[..1])? == 0 {
            return Ok(None);
        }
        pipe.read_exact(&mut header[1..])?;
        let word = |at: usize| {
            u32::from_le_bytes(header[at..at + 4].try_into().expect("four bytes of twelve"))
        };
        let length = word(0) as usize;
        if length > PAYLOAD_BYTES_MAX {
            let text = format!("a frame of {length} bytes is announced");
            return Err(io::Error::new(io::ErrorKind::InvalidData, text));
        }
        // Grows with what really arrives: an announced length alone reserves no more than a block.
        let mut payload = Vec::with_capacity(length.min(BLOCK_BYTES));
        pipe.take(length as u64).read_to_end(&mut payload)?;
        if payload.len() < length {
            return Err(io::ErrorKind::UnexpectedEof.into());
        }
        Ok(Some(Self {
            kind: word(4),
            sequence: word(8),
            payload,
        }))
    }
}
