//! Sends recordings as a stream.

use std::{path::PathBuf, time::Duration};

use anyhow::Context;
use goodwire_proto::v1::{
    AnalyseRecordingsRequest, Measurement, RecordingChunk, RecordingsHeader,
    analyse_recordings_request::Piece, recording_chunk::File,
};
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;

use crate::{
    connect::{Connection, within},
    failure::Refusal,
};

/// Bytes in one piece.
const CHUNK_BYTES: usize = 256 << 10;
/// Pieces that wait for the connection.
const QUEUE_PIECES: usize = 4;
/// Deadline of the whole: hours of sound through a socket take minutes.
const DEADLINE: Duration = Duration::from_secs(1800);

/// What is sent: the header, then the files.
#[derive(Debug)]
pub struct Upload {
    /// What is to be done with the files.
    pub header: RecordingsHeader,
    /// The files in the order in which they are sent.
    pub files: Vec<(File, PathBuf)>,
}

impl Upload {
    /// Sends all; gives the queued measurement.
    ///
    /// # Errors
    /// Where a file cannot be read to its end, or what the server refuses.
    pub async fn send(self, connection: &Connection) -> anyhow::Result<Measurement> {
        let (pieces, stream) = mpsc::channel(QUEUE_PIECES);
        let reader = tokio::task::spawn_blocking(move || self.feed(&pieces));
        let answer = connection
            .measurements()
            .analyse_recordings(within(DEADLINE, ReceiverStream::new(stream)))
            .await;
        let fed = reader.await.context("reading the files failed")?;
        match answer {
            // A file that could not be read explains a refusal better than the refusal itself.
            Err(status) => fed.and(Err(Refusal(status).into())),
            Ok(answer) => {
                fed?;
                let measurement = answer.into_inner().measurement;
                measurement.context("the server answered without a measurement")
            }
        }
    }

    /// Reads the files and hands their pieces over; ends early where nobody takes them any more.
    fn feed(self, pieces: &mpsc::Sender<AnalyseRecordingsRequest>) -> anyhow::Result<()> {
        let give = |piece| {
            pieces
                .blocking_send(AnalyseRecordingsRequest { piece: Some(piece) })
                .is_ok()
        };
        if !give(Piece::Header(self.header)) {
            return Ok(());
        }
        for (file, path) in self.files {
            let cannot = || format!("{} cannot be read", path.display());
            let mut open = std::fs::File::open(&path).with_context(cannot)?;
            loop {
                let data = next_chunk(&mut open).with_context(cannot)?;
                if data.is_empty() {
                    break;
                }
                let file = file.into();
                if !give(Piece::Chunk(RecordingChunk { file, data })) {
                    return Ok(());
                }
            }
        }
        Ok(())
    }
}

/// The next bytes; empty at the end.
fn next_chunk(file: &mut std::fs::File) -> std::io::Result<Vec<u8>> {
    use std::io::Read;
    let mut data = Vec::with_capacity(CHUNK_BYTES);
    file.take(CHUNK_BYTES as u64).read_to_end(&mut data)?;
    Ok(data)
}
