//! Sounds of a measurement as WAV files.

use std::path::{Path, PathBuf};

use anyhow::bail;
use goodwire_proto::v1::{Measurement, ReadSoundRequest, Sound};

use super::csv::beside;
use crate::{
    connect::{Connection, slow},
    failure::Refusal,
    files,
    wav::WavWriter,
};

/// Writes every sound of a measurement; gives the files' paths.
///
/// # Errors
/// Where it has none, the server keeps them no more, or a file cannot be written.
pub async fn write(
    server: &Connection,
    measurement: &Measurement,
    out: &Path,
) -> anyhow::Result<Vec<PathBuf>> {
    if measurement.sounds.is_empty() {
        bail!(
            "{} has no sounds; a null test has: goodwire measure LINK null",
            measurement.name
        );
    }
    let mut paths = Vec::new();
    for sound in &measurement.sounds {
        let samples = read(server, &measurement.name, sound).await?;
        let path = beside(out, &sound.id);
        files::write_whole(&path, |file| {
            let comment = format!("goodwire: {} of {}", sound.id, measurement.name);
            let mut wav = WavWriter::new(file, sound.rate_hz, sound.frame_count, &comment)?;
            wav.write(&samples)?;
            wav.finish()
        })?;
        paths.push(path);
    }
    Ok(paths)
}

async fn read(server: &Connection, name: &str, sound: &Sound) -> Result<Vec<f32>, Refusal> {
    let request = slow(ReadSoundRequest {
        name: name.to_owned(),
        sound: sound.id.clone(),
    });
    let mut pieces = server
        .measurements()
        .read_sound(request)
        .await?
        .into_inner();
    let mut samples = Vec::new();
    while let Some(piece) = pieces.message().await? {
        samples.extend(piece.samples);
    }
    Ok(samples)
}
