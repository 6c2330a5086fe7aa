//! FLAC files (RFC 9639), decoded by symphonia.

use std::panic::{AssertUnwindSafe, catch_unwind};

use symphonia::{
    core::{
        codecs::audio::{AudioDecoder, AudioDecoderOptions},
        errors::Error,
        formats::{FormatOptions, FormatReader},
        io::{MediaSource, MediaSourceStream},
        meta::{RawValue, Tag},
    },
    default::{codecs::FlacDecoder, formats::FlacReader},
};

use super::{Recording, RecordingError, check_shape};

/// Comments by falling worth.
const COMMENT_KEYS: [&str; 2] = ["COMMENT", "DESCRIPTION"];

/// Reads a FLAC file from its start.
pub fn read<S: MediaSource + 'static>(source: S, file: &str) -> Result<Recording, RecordingError> {
    let stream = MediaSourceStream::new(Box::new(source), Default::default());
    // A decoder that panics over a strange file costs that file and nothing else. Nothing of it is
    // used afterwards.
    catch_unwind(AssertUnwindSafe(|| decode(stream, file)))
        .unwrap_or_else(|_| Err(damaged(file, "the decoder cannot make sense of it")))
}

fn decode(stream: MediaSourceStream<'_>, file: &str) -> Result<Recording, RecordingError> {
    let in_head = |error: Error| damaged(file, &format!("in its head: {error}"));
    let mut reader = FlacReader::try_new(stream, FormatOptions::default()).map_err(in_head)?;
    let track = reader
        .tracks()
        .first()
        .ok_or_else(|| damaged(file, "it has no sound"))?;
    // Zero stands for a length that its writer did not know.
    let announced = track.num_frames.filter(|&frame_count| frame_count > 0);
    let parameters = track
        .codec_params
        .as_ref()
        .and_then(|parameters| parameters.audio());
    let parameters = parameters.ok_or_else(|| damaged(file, "it has no sound"))?;
    let rate_hz = parameters.sample_rate.unwrap_or(0);
    let channel_count = parameters
        .channels
        .as_ref()
        .map_or(0, |channels| channels.count());
    check_shape(file, rate_hz, channel_count, announced.unwrap_or(0))?;
    let mut options = AudioDecoderOptions::default();
    options.verify = true;
    let mut decoder = FlacDecoder::try_new(parameters, &options).map_err(in_head)?;
    let comment = comment(&mut reader);
    let mut channels = vec![Vec::new(); channel_count];
    let ended_well = read_packets(&mut reader, &mut decoder, &mut channels, rate_hz, file)?;
    let found = channels[0].len() as u64;
    if let Some(announced) = announced.filter(|&announced| found < announced) {
        return Err(RecordingError::Truncated {
            file: file.into(),
            announced,
            found,
        });
    }
    if !ended_well || decoder.finalize().verify_ok == Some(false) {
        return Err(damaged(
            file,
            "its samples are not those that its checksum was made of",
        ));
    }
    Ok(Recording {
        rate_hz,
        channels,
        comment,
    })
}

/// Decodes all that can be decoded; false where something in it could not.
fn read_packets(
    reader: &mut FlacReader<'_>,
    decoder: &mut FlacDecoder,
    channels: &mut [Vec<f32>],
    rate_hz: u32,
    file: &str,
) -> Result<bool, RecordingError> {
    let mut planes: Vec<Vec<f32>> = Vec::new();
    loop {
        let packet = match reader.next_packet() {
            Ok(Some(packet)) => packet,
            Ok(None) => return Ok(true),
            Err(_) => return Ok(false),
        };
        let Ok(sound) = decoder.decode(&packet) else {
            return Ok(false);
        };
        sound.copy_to_vecs_planar(&mut planes);
        if planes.len() != channels.len() {
            return Ok(false);
        }
        for (channel, plane) in channels.iter_mut().zip(&planes) {
            channel.extend_from_slice(plane);
        }
        check_shape(file, rate_hz, channels.len(), channels[0].len() as u64)?;
    }
}

fn comment(reader: &mut FlacReader<'_>) -> Option<String> {
    let mut metadata = reader.metadata();
    let tags = &metadata.skip_to_latest()?.media.tags;
    COMMENT_KEYS
        .iter()
        .find_map(|key| tags.iter().find_map(|tag| text_of(tag, key)))
}

fn text_of(tag: &Tag, key: &str) -> Option<String> {
    match &tag.raw.value {
        RawValue::String(text) if tag.raw.key.eq_ignore_ascii_case(key) => {
            let text = text.trim();
            (!text.is_empty()).then(|| text.to_owned())
        }
        _ => None,
    }
}

fn damaged(file: &str, text: &str) -> RecordingError {
    RecordingError::Damaged {
        file: file.into(),
        text: text.into(),
    }
}
