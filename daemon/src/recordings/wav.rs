//! WAV files: RIFF chunks (Microsoft and IBM, Multimedia Programming Interface and Data
//! Specifications 1.0; `WAVE_FORMAT_EXTENSIBLE` by Microsoft's mmreg.h) and RF64 for files beyond
//! 4 GiB (EBU Tech 3306); all from memory, checked against files of other programs.

use std::io::{BufReader, ErrorKind, Read, Seek, SeekFrom};

use super::{Recording, RecordingError, check_shape, unreadable};

const TAG_PCM: u16 = 1;
const TAG_FLOAT: u16 = 3;
const TAG_EXTENSIBLE: u16 = 0xFFFE;
/// What follows the tag in a subformat of `WAVE_FORMAT_EXTENSIBLE`.
const SUBFORMAT_TAIL: [u8; 14] = [0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71];
/// From here on a size means: whoever wrote this could not go back and say how much there is.
const UNKNOWN_SIZE: u64 = 0x7FFF_F000;
/// The size of a chunk whose real size is in the `ds64` chunk.
const SIZE_IN_DS64: u64 = 0xFFFF_FFFF;
/// The longest chunk that is read whole: a format, or a list of texts.
const TEXT_BYTES_MAX: u64 = 1 << 20;
/// Frames that are read in one go.
const BLOCK_FRAMES: usize = 4096;

/// How a sample is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Coding {
    Int16,
    Int24,
    Int32,
    Float32,
    Float64,
}

/// The format chunk.
#[derive(Debug, Clone, Copy)]
struct Format {
    coding: Coding,
    channel_count: usize,
    rate_hz: u32,
    /// Bytes of one frame.
    frame_bytes: usize,
}

/// Chunks of a file, one after the other.
struct Chunks<'a, S> {
    source: BufReader<S>,
    /// Where the next chunk begins.
    next: u64,
    /// Bytes of the file.
    end: u64,
    /// Size of the data chunk as the `ds64` chunk has it.
    long_size: Option<u64>,
    file: &'a str,
}

/// Name, announced size and size within the file of one chunk, whose content comes next.
struct Chunk {
    name: [u8; 4],
    announced: u64,
    present: u64,
}

/// Reads a WAV file from its start.
pub fn read<S: Read + Seek>(source: S, file: &str) -> Result<Recording, RecordingError> {
    let mut chunks = Chunks::new(source, file)?;
    let (mut format, mut channels, mut comment) = (None, None, None);
    while let Some(chunk) = chunks.next()? {
        match &chunk.name {
            b"ds64" => {
                let bytes = chunks.read_whole(&chunk)?;
                chunks.long_size = bytes
                    .get(8..16)
                    .map(|size| u64::from_le_bytes(size.try_into().expect("8 bytes")));
            }
            b"fmt " => format = Some(Format::parse(&chunks.read_whole(&chunk)?, file)?),
            b"data" if channels.is_none() => {
                let format = format.ok_or_else(|| {
                    damaged(
                        file,
                        "its samples come before what says how they are written",
                    )
                })?;
                channels = Some((format.rate_hz, chunks.read_samples(&chunk, format)?));
            }
            b"LIST" => comment = comment.or(comment_in(&chunks.read_whole(&chunk)?)),
            _ => {}
        }
    }
    let (rate_hz, channels) = channels.ok_or_else(|| damaged(file, "it has no samples"))?;
    Ok(Recording {
        rate_hz,
        channels,
        comment,
    })
}

impl<'a, S: Read + Seek> Chunks<'a, S> {
    fn new(mut source: S, file: &'a str) -> Result<Self, RecordingError> {
        let end = source
            .seek(SeekFrom::End(0))
            .map_err(|error| unreadable(file, &error))?;
        // Name, size and kind of the file are in its first 12 bytes.
        Ok(Self {
            source: BufReader::new(source),
            next: 12,
            end,
            long_size: None,
            file,
        })
    }

    /// Goes to the next chunk; `None` at the end of the file.
    fn next(&mut self) -> Result<Option<Chunk>, RecordingError> {
        if self.end < self.next.saturating_add(8) {
            return Ok(None);
        }
        let mut head = [0; 8];
        self.source
            .seek(SeekFrom::Start(self.next))
            .and_then(|_| self.source.read_exact(&mut head))
            .map_err(|error| unreadable(self.file, &error))?;
        let [name @ .., s0, s1, s2, s3] = head;
        let short = u64::from(u32::from_le_bytes([s0, s1, s2, s3]));
        let left = self.end - self.next - 8;
        let announced = match self.long_size {
            Some(size) if &name == b"data" && short == SIZE_IN_DS64 => size,
            None if &name == b"data" && short >= UNKNOWN_SIZE && left < short => left,
            _ => short,
        };
        // Chunks begin at even places.
        self.next = self
            .next
            .saturating_add(8)
            .saturating_add(announced)
            .saturating_add(announced & 1);
        Ok(Some(Chunk {
            name,
            announced,
            present: announced.min(left),
        }))
    }

    /// Reads a chunk that is not long.
    fn read_whole(&mut self, chunk: &Chunk) -> Result<Vec<u8>, RecordingError> {
        let mut bytes = Vec::new();
        self.source
            .by_ref()
            .take(chunk.present.min(TEXT_BYTES_MAX))
            .read_to_end(&mut bytes)
            .map_err(|error| unreadable(self.file, &error))?;
        Ok(bytes)
    }

    /// Reads the samples of the data chunk, one vector a channel.
    fn read_samples(
        &mut self,
        chunk: &Chunk,
        format: Format,
    ) -> Result<Vec<Vec<f32>>, RecordingError> {
        let frame_bytes = format.frame_bytes as u64;
        let (announced, found) = (chunk.announced / frame_bytes, chunk.present / frame_bytes);
        check_shape(self.file, format.rate_hz, format.channel_count, announced)?;
        let mut channels = vec![Vec::with_capacity(found as usize); format.channel_count];
        let mut bytes = vec![0; BLOCK_FRAMES * format.frame_bytes];
        let mut done = 0;
        while done < found {
            let frame_count = (found - done).min(BLOCK_FRAMES as u64);
            let block = &mut bytes[..frame_count as usize * format.frame_bytes];
            self.source
                .read_exact(block)
                .map_err(|error| match error.kind() {
                    // It has become shorter since it was opened.
                    ErrorKind::UnexpectedEof => self.truncated(announced, done),
                    _ => unreadable(self.file, &error),
                })?;
            format.coding.append(block, &mut channels);
            done += frame_count;
        }
        if found < announced {
            return Err(self.truncated(announced, found));
        }
        Ok(channels)
    }

    fn truncated(&self, announced: u64, found: u64) -> RecordingError {
        RecordingError::Truncated {
            file: self.file.into(),
            announced,
            found,
        }
    }
}

impl Format {
    fn parse(bytes: &[u8], file: &str) -> Result<Self, RecordingError> {
        let short = |at: usize| {
            bytes
                .get(at..at + 2)
                .map(|two| u16::from_le_bytes(two.try_into().expect("2 bytes")))
        };
        let short_or_damaged =
            |at| short(at).ok_or_else(|| damaged(file, "its format is too short"));
        let unknown = |found: String| RecordingError::UnknownSamples {
            file: file.into(),
            found,
        };
        let (mut tag, bits) = (short_or_damaged(0)?, short_or_damaged(14)?);
        let channel_count = usize::from(short_or_damaged(2)?);
        let frame_bytes = usize::from(short_or_damaged(12)?);
        if tag == TAG_EXTENSIBLE && bytes.get(26..40) == Some(&SUBFORMAT_TAIL) {
            tag = short_or_damaged(24)?;
        }
        let coding = match (tag, bits) {
            (TAG_PCM, 16) => Coding::Int16,
            (TAG_PCM, 24) => Coding::Int24,
            (TAG_PCM, 32) => Coding::Int32,
            (TAG_FLOAT, 32) => Coding::Float32,
            (TAG_FLOAT, 64) => Coding::Float64,
            (TAG_PCM | TAG_FLOAT, _) => return Err(unknown(format!("samples of {bits} bits"))),
            _ => return Err(unknown(format!("samples of format {tag}"))),
        };
        let rate_hz = u32::from(short_or_damaged(4)?) | u32::from(short_or_damaged(6)?) << 16;
        check_shape(file, rate_hz, channel_count, 0)?;
        if frame_bytes != channel_count * coding.bytes() {
            return Err(damaged(
                file,
                &format!("{channel_count} samples of {bits} bits do not make {frame_bytes} bytes"),
            ));
        }
        Ok(Self {
            coding,
            channel_count,
            rate_hz,
            frame_bytes,
        })
    }
}

impl Coding {
    /// Bytes of one sample.
    fn bytes(self) -> usize {
        match self {
            Self::Int16 => 2,
            Self::Int24 => 3,
            Self::Int32 | Self::Float32 => 4,
            Self::Float64 => 8,
        }
    }

    /// Appends whole frames to the channels.
    fn append(self, frames: &[u8], channels: &mut [Vec<f32>]) {
        match self {
            Self::Int16 => append(frames, channels, |b| {
                f32::from(i16::from_le_bytes(b)) / 32_768.0
            }),
            Self::Int24 => append(frames, channels, |[low, middle, high]| {
                // In the upper bytes, so that the sign is where it belongs; exact in 32 bits.
                i32::from_le_bytes([0, low, middle, high]) as f32 / 2_147_483_648.0
            }),
            Self::Int32 => append(frames, channels, |b| {
                (f64::from(i32::from_le_bytes(b)) / 2_147_483_648.0) as f32
            }),
            Self::Float32 => append(frames, channels, f32::from_le_bytes),
            Self::Float64 => append(frames, channels, |b| f64::from_le_bytes(b) as f32),
        }
    }
}

fn append<const N: usize>(
    frames: &[u8],
    channels: &mut [Vec<f32>],
    sample: impl Fn([u8; N]) -> f32,
) {
    let (samples, _) = frames.as_chunks::<N>();
    let frames = samples.chunks_exact(channels.len());
    for (index, channel) in channels.iter_mut().enumerate() {
        channel.extend(frames.clone().map(|frame| sample(frame[index])));
    }
}

/// The comment (ICMT) in a list of kind INFO.
fn comment_in(list: &[u8]) -> Option<String> {
    let mut rest = list.strip_prefix(b"INFO")?;
    while let Some((head, after)) = rest.split_first_chunk::<8>() {
        let [name @ .., s0, s1, s2, s3] = *head;
        let size = u32::from_le_bytes([s0, s1, s2, s3]) as usize;
        let text = &after[..size.min(after.len())];
        if &name == b"ICMT" {
            let text = String::from_utf8_lossy(text);
            let text = text.trim_matches(['\0', ' ', '\n', '\r']);
            return (!text.is_empty()).then(|| text.to_owned());
        }
        rest = after
            .get(size.saturating_add(size & 1)..)
            .unwrap_or_default();
    }
    None
}

fn damaged(file: &str, text: &str) -> RecordingError {
    RecordingError::Damaged {
        file: file.into(),
        text: text.into(),
    }
}
