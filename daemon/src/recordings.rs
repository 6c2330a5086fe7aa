//! Recordings that were made elsewhere: WAV and FLAC files, told apart by their content.
//!
//! Everything that can be wrong with a file has an error of its own, with a sentence that says what
//! is wrong in which file. No file, however it is made, costs more memory than
//! [`SAMPLES_MAX`] samples or makes reading panic.

pub mod comment;
mod flac;
mod wav;

use std::{
    fs::File,
    io::{self, Read, Seek, SeekFrom},
    path::Path,
};

/// The lowest rate that is read, in Hz.
pub const RATE_HZ_MIN: u32 = 44_100;
/// The highest rate that is read, in Hz.
pub const RATE_HZ_MAX: u32 = 192_000;
/// The most samples that are read, all channels together: 2 h of one channel at 48 kHz, which are
/// 1.4 GB in memory.
pub const SAMPLES_MAX: u64 = 2 * 3600 * 48_000;
/// The most channels that a file may have.
pub const CHANNELS_MAX: usize = 64;

/// What a file holds.
#[derive(Debug, Clone, PartialEq)]
pub struct Recording {
    /// Rate in Hz, from [`RATE_HZ_MIN`] to [`RATE_HZ_MAX`].
    pub rate_hz: u32,
    /// One vector a channel, all of one length and not empty; full scale = 1, all finite.
    pub channels: Vec<Vec<f32>>,
    /// The file's comment (ICMT in WAV, COMMENT or DESCRIPTION in FLAC), where it has one.
    pub comment: Option<String>,
}

impl Recording {
    /// How many frames there are.
    #[must_use]
    pub fn frame_count(&self) -> usize {
        self.channels.first().map_or(0, Vec::len)
    }
}

/// Why a recording cannot be used. `file` is always the name by which the file was given.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RecordingError {
    /// Nothing is there.
    #[error("{file}: there is no such file")]
    Missing {
        /// The file.
        file: String,
    },
    /// It is there, but the system does not let it be read.
    #[error("{file}: it cannot be read: {text}")]
    Unreadable {
        /// The file.
        file: String,
        /// What the system says.
        text: String,
    },
    /// Its content is of another kind.
    #[error("{file}: it is no recording: neither a WAV nor a FLAC file")]
    NotAudio {
        /// The file.
        file: String,
    },
    /// Its samples are of a kind that is not read.
    #[error("{file}: it holds {found}; WAV of 16, 24 or 32 bits or float, and FLAC are read")]
    UnknownSamples {
        /// The file.
        file: String,
        /// What it holds, as `samples of 8 bits`.
        found: String,
    },
    /// It has no bytes, or no frames.
    #[error("{file}: it is empty")]
    Empty {
        /// The file.
        file: String,
    },
    /// It ends before what it announces.
    #[error("{file}: it is cut off: it announces {announced} frames and holds {found}")]
    Truncated {
        /// The file.
        file: String,
        /// Frames that its head announces.
        announced: u64,
        /// Frames that are there.
        found: u64,
    },
    /// Its content contradicts itself.
    #[error("{file}: it is damaged: {text}")]
    Damaged {
        /// The file.
        file: String,
        /// What does not fit.
        text: String,
    },
    /// It is longer than what is held in memory.
    #[error(
        "{file}: it is too long: {samples} samples in all its channels, and at most {} are read \
         (2 h of one channel at 48 kHz)",
        SAMPLES_MAX
    )]
    TooLong {
        /// The file.
        file: String,
        /// How many samples it announces, or were met before giving up.
        samples: u64,
    },
    /// Its rate is out of range.
    #[error(
        "{file}: its rate is {rate_hz} Hz, and {} to {} Hz are read",
        RATE_HZ_MIN,
        RATE_HZ_MAX
    )]
    Rate {
        /// The file.
        file: String,
        /// Its rate.
        rate_hz: u32,
    },
    /// It has too many channels.
    #[error(
        "{file}: it has {channel_count} channels, and 1 to {} are read",
        CHANNELS_MAX
    )]
    TooManyChannels {
        /// The file.
        file: String,
        /// How many it has.
        channel_count: usize,
    },
    /// The channel that was asked for is not there.
    #[error("{file}: there is no channel {channel}: it has {channel_count}, counted from 1")]
    NoSuchChannel {
        /// The file.
        file: String,
        /// What was asked for.
        channel: i32,
        /// How many it has.
        channel_count: usize,
    },
    /// One channel is needed, there are several, and none was named.
    #[error(
        "{file}: it has {channel_count} channels and one is needed: name it as FILE:CH, here \
         {file}:1 to {file}:{channel_count}"
    )]
    ChannelNeeded {
        /// The file.
        file: String,
        /// How many it has.
        channel_count: usize,
    },
    /// A sample is NaN or infinite.
    #[error("{file}: the sample in frame {frame} of channel {channel} is not finite")]
    NotFinite {
        /// The file.
        file: String,
        /// Its channel, from 1.
        channel: usize,
        /// Its frame, from 0.
        frame: u64,
    },
}

/// Reads a recording, whatever its file is called.
///
/// # Errors
/// A [`RecordingError`] that names the file by its path.
pub fn read(path: &Path) -> Result<Recording, RecordingError> {
    read_as(path, &path.display().to_string())
}

/// Reads a recording whose errors call it `file`: for one that was uploaded under that name.
///
/// # Errors
/// A [`RecordingError`].
pub fn read_as(path: &Path, file: &str) -> Result<Recording, RecordingError> {
    let opened = File::open(path).map_err(|error| match error.kind() {
        io::ErrorKind::NotFound => RecordingError::Missing { file: file.into() },
        _ => unreadable(file, &error),
    })?;
    let metadata = opened
        .metadata()
        .map_err(|error| unreadable(file, &error))?;
    if !metadata.is_file() {
        return Err(RecordingError::Unreadable {
            file: file.into(),
            text: "it is not a file".into(),
        });
    }
    read_from(opened, file)
}

/// Reads a recording from anything that has an end, at its start.
fn read_from<S: Source>(mut source: S, file: &str) -> Result<Recording, RecordingError> {
    let mut head = Vec::new();
    source
        .by_ref()
        .take(12)
        .read_to_end(&mut head)
        .map_err(|error| unreadable(file, &error))?;
    source
        .seek(SeekFrom::Start(0))
        .map_err(|error| unreadable(file, &error))?;
    let recording = match &head[..] {
        [] => return Err(RecordingError::Empty { file: file.into() }),
        [b'R', b'I', b'F', b'F', .., b'W', b'A', b'V', b'E']
        | [b'R', b'F', b'6', b'4', .., b'W', b'A', b'V', b'E'] => wav::read(source, file)?,
        [b'f', b'L', b'a', b'C', ..] => flac::read(source, file)?,
        _ => return Err(RecordingError::NotAudio { file: file.into() }),
    };
    if recording.frame_count() == 0 {
        return Err(RecordingError::Empty { file: file.into() });
    }
    for (channel, samples) in (1..).zip(&recording.channels) {
        if let Some(frame) = samples.iter().position(|sample| !sample.is_finite()) {
            return Err(RecordingError::NotFinite {
                file: file.into(),
                channel,
                frame: frame as u64,
            });
        }
    }
    Ok(recording)
}

/// Chooses a channel, counted from 1; 0 means the only one of a mono recording.
///
/// # Errors
/// [`RecordingError::NoSuchChannel`], or [`RecordingError::ChannelNeeded`] where 0 leaves a choice.
pub fn pick<'a>(
    recording: &'a Recording,
    channel: i32,
    file: &str,
) -> Result<&'a [f32], RecordingError> {
    let channel_count = recording.channels.len();
    if channel == 0 && channel_count > 1 {
        return Err(RecordingError::ChannelNeeded {
            file: file.into(),
            channel_count,
        });
    }
    usize::try_from(channel)
        .ok()
        .and_then(|channel| recording.channels.get(channel.saturating_sub(1)))
        .map(Vec::as_slice)
        .ok_or_else(|| RecordingError::NoSuchChannel {
            file: file.into(),
            channel,
            channel_count,
        })
}

/// What both readers can read from.
trait Source: Read + Seek + Send + Sync + symphonia::core::io::MediaSource + 'static {}

impl<S: Read + Seek + Send + Sync + symphonia::core::io::MediaSource + 'static> Source for S {}

fn unreadable(file: &str, error: &io::Error) -> RecordingError {
    RecordingError::Unreadable {
        file: file.into(),
        text: error.to_string(),
    }
}

/// Refuses a shape that is not read, before memory is taken for it.
fn check_shape(
    file: &str,
    rate_hz: u32,
    channel_count: usize,
    frame_count: u64,
) -> Result<(), RecordingError> {
    let file = || file.to_owned();
    if !(RATE_HZ_MIN..=RATE_HZ_MAX).contains(&rate_hz) {
        return Err(RecordingError::Rate {
            file: file(),
            rate_hz,
        });
    }
    if !(1..=CHANNELS_MAX).contains(&channel_count) {
        return Err(RecordingError::TooManyChannels {
            file: file(),
            channel_count,
        });
    }
    let samples = frame_count.saturating_mul(channel_count as u64);
    if samples > SAMPLES_MAX {
        return Err(RecordingError::TooLong {
            file: file(),
            samples,
        });
    }
    Ok(())
}

#[cfg(test)]
mod tests;
