//! Writes 32-bit float mono WAV with a comment, as it comes in.

use std::io::{self, Write};

use anyhow::{Context, bail};

const BYTES_PER_SAMPLE: u32 = 4;
/// IEEE float (WAVE_FORMAT_IEEE_FLOAT of the Multimedia Programming Interface, 1991, and its
/// New Media Types revision, 1994; the number from memory, read back in tests with `hound`).
const FORMAT_FLOAT: u16 = 3;

/// A WAV file whose length is known before its samples.
#[derive(Debug)]
pub struct WavWriter<W: Write> {
    out: io::BufWriter<W>,
    missing: u32,
}

impl<W: Write> WavWriter<W> {
    /// Writes the head. The comment goes into a `LIST` chunk of type `INFO` as `ICMT`, before the
    /// samples, where also a cut-off file still has it.
    ///
    /// # Errors
    /// Where the file would be longer than RIFF can say (4 GiB), or cannot be written.
    pub fn new(out: W, rate_hz: i32, frame_count: i32, comment: &str) -> anyhow::Result<Self> {
        let rate_hz = u32::try_from(rate_hz).context("the rate is negative")?;
        let frame_count = u32::try_from(frame_count).context("the length is negative")?;
        let head = head(rate_hz, frame_count, comment).context("longer than a WAV file can be")?;
        let mut out = io::BufWriter::new(out);
        out.write_all(&head)?;
        Ok(Self {
            out,
            missing: frame_count,
        })
    }

    /// Writes the next samples.
    ///
    /// # Errors
    /// Where there are more than were announced, or they cannot be written.
    pub fn write(&mut self, samples: &[f32]) -> anyhow::Result<()> {
        let count = u32::try_from(samples.len()).unwrap_or(u32::MAX);
        let Some(missing) = self.missing.checked_sub(count) else {
            bail!("more samples came than were announced");
        };
        self.missing = missing;
        for sample in samples {
            self.out.write_all(&sample.to_le_bytes())?;
        }
        Ok(())
    }

    /// Ends the file.
    ///
    /// # Errors
    /// Where samples are missing, or the rest cannot be written.
    pub fn finish(mut self) -> anyhow::Result<()> {
        if self.missing > 0 {
            bail!("{} of the announced samples never came", self.missing);
        }
        Ok(self.out.flush()?)
    }
}

/// Everything up to the first sample; `None` where a length is beyond 32 bits.
fn head(rate_hz: u32, frame_count: u32, comment: &str) -> Option<Vec<u8>> {
    let mut format = Vec::new();
    format.extend(FORMAT_FLOAT.to_le_bytes());
    format.extend(1_u16.to_le_bytes());
    format.extend(rate_hz.to_le_bytes());
    format.extend(rate_hz.checked_mul(BYTES_PER_SAMPLE)?.to_le_bytes());
    format.extend(4_u16.to_le_bytes());
    format.extend(32_u16.to_le_bytes());
    // Formats other than PCM say how much follows the common part: nothing here.
    format.extend(0_u16.to_le_bytes());

    let mut text = comment.as_bytes().to_vec();
    text.push(0);
    let mut info = b"INFO".to_vec();
    info.extend(chunk(b"ICMT", &text)?);

    let mut body = b"WAVE".to_vec();
    body.extend(chunk(b"fmt ", &format)?);
    body.extend(chunk(b"fact", &frame_count.to_le_bytes())?);
    body.extend(chunk(b"LIST", &info)?);
    let data_bytes = frame_count.checked_mul(BYTES_PER_SAMPLE)?;
    body.extend(b"data");
    body.extend(data_bytes.to_le_bytes());

    let mut file = b"RIFF".to_vec();
    let length = u32::try_from(body.len()).ok()?.checked_add(data_bytes)?;
    file.extend(length.to_le_bytes());
    file.extend(body);
    Some(file)
}

/// One RIFF chunk, padded to an even length.
fn chunk(id: &[u8; 4], content: &[u8]) -> Option<Vec<u8>> {
    let mut chunk = id.to_vec();
    chunk.extend(u32::try_from(content.len()).ok()?.to_le_bytes());
    chunk.extend(content);
    if content.len() % 2 == 1 {
        chunk.push(0);
    }
    Some(chunk)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(comment: &str, samples: &[f32]) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut writer = WavWriter::new(&mut bytes, 48_000, samples.len() as i32, comment).unwrap();
        writer.write(samples).unwrap();
        writer.finish().unwrap();
        bytes
    }

    #[test]
    fn hound_reads_back_every_sample_whether_the_comment_is_odd_or_even() {
        let samples = [0.0, 0.5, -1.0, 1.0e-7];
        for comment in ["", "a", "goodwire {\"start_hz\":20}"] {
            let bytes = file(comment, &samples);
            let mut reader = hound::WavReader::new(bytes.as_slice()).unwrap();
            let spec = reader.spec();
            assert_eq!((spec.channels, spec.bits_per_sample), (1, 32));
            assert_eq!(spec.sample_format, hound::SampleFormat::Float);
            assert_eq!(spec.sample_rate, 48_000);
            let read: Vec<f32> = reader.samples().map(Result::unwrap).collect();
            assert_eq!(read, samples, "comment {comment:?}");
        }
    }

    #[test]
    fn chunks_fill_the_file_exactly_and_the_comment_is_in_list_info() {
        let bytes = file("hello", &[0.25; 3]);
        let word = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap()) as usize;
        assert_eq!(word(4) + 8, bytes.len());
        let (mut at, mut seen) = (12, Vec::new());
        while at < bytes.len() {
            seen.push(String::from_utf8_lossy(&bytes[at..at + 4]).into_owned());
            if seen.last().unwrap() == "LIST" {
                assert_eq!(&bytes[at + 8..at + 26], b"INFOICMT\x06\0\0\0hello\0");
            }
            at += 8 + word(at + 4).next_multiple_of(2);
        }
        assert_eq!(
            (at, seen),
            (
                bytes.len(),
                ["fmt ", "fact", "LIST", "data"].map(String::from).into()
            )
        );
    }

    #[test]
    fn too_few_and_too_many_samples_are_refused() {
        let mut writer = WavWriter::new(Vec::new(), 48_000, 2, "").unwrap();
        writer.write(&[0.0]).unwrap();
        assert!(writer.write(&[0.0; 2]).is_err());
        assert!(writer.finish().unwrap_err().to_string().starts_with('1'));
        assert!(WavWriter::new(Vec::new(), 48_000, i32::MAX, "").is_err());
    }
}
