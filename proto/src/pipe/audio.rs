//! Audio in frames: a raw header, then planar `f32`, all little endian.

use super::calls::{long, word};

/// Bytes of a block's header.
const HEADER_BYTES: usize = 48;
/// Bytes of one sample.
const SAMPLE_BYTES: usize = size_of::<f32>();

/// Consecutive frames of the planned captures.
#[derive(Debug, Clone, Copy)]
pub struct Block<'a> {
    /// Number of the step, from 0.
    pub step: u32,
    /// Number of the play of this step, from 0, retries included.
    pub repeat: u32,
    /// Index of the first frame in the stimulus; of recordings, in the file.
    pub first_frame: u64,
    /// The link channel's frame on the interface's stream, for events.
    pub stream_frame: u64,
    /// True for the last block of this repeat.
    pub last: bool,
    /// One slice a capture of the plan, all of one length; `None` where the rig has no such
    /// channel. At most [`Block::CHANNEL_COUNT_MAX`].
    pub channels: &'a [Option<&'a [f32]>],
}

impl Block<'_> {
    /// Most channels that a block may have: the header has a bit for each.
    pub const CHANNEL_COUNT_MAX: usize = 64;
    /// Most frames that one block may have.
    pub const FRAME_COUNT_MAX: usize = 1 << 18;

    /// How many frames each channel has.
    #[must_use]
    pub fn frame_count(&self) -> usize {
        self.channels
            .iter()
            .flatten()
            .map(|samples| samples.len())
            .next()
            .unwrap_or(0)
    }

    /// The block as a payload. `None` where it has too many channels or frames, or channels of
    /// different lengths.
    #[must_use]
    pub fn encode(&self) -> Option<Vec<u8>> {
        let frame_count = self.frame_count();
        let one_length = self
            .channels
            .iter()
            .flatten()
            .all(|one| one.len() == frame_count);
        if !one_length
            || frame_count > Self::FRAME_COUNT_MAX
            || self.channels.len() > Self::CHANNEL_COUNT_MAX
        {
            return None;
        }
        let bit =
            |(index, channel): (usize, &Option<&[f32]>)| u64::from(channel.is_some()) << index;
        let present: u64 = self.channels.iter().enumerate().map(bit).sum();
        let sample_count = frame_count * present.count_ones() as usize;
        let mut payload = Vec::with_capacity(HEADER_BYTES + SAMPLE_BYTES * sample_count);
        payload.extend(self.step.to_le_bytes());
        payload.extend(self.repeat.to_le_bytes());
        payload.extend((self.channels.len() as u32).to_le_bytes());
        payload.extend((frame_count as u32).to_le_bytes());
        payload.extend(u32::from(self.last).to_le_bytes());
        payload.extend(0_u32.to_le_bytes());
        payload.extend(present.to_le_bytes());
        payload.extend(self.first_frame.to_le_bytes());
        payload.extend(self.stream_frame.to_le_bytes());
        for samples in self.channels.iter().flatten() {
            append_samples(&mut payload, samples);
        }
        Some(payload)
    }
}

/// A block as it came out of a payload.
#[derive(Debug, Clone, PartialEq)]
pub struct OwnedBlock {
    /// Number of the step, from 0.
    pub step: u32,
    /// Number of the play of this step, from 0, retries included.
    pub repeat: u32,
    /// Index of the first frame in the stimulus; of recordings, in the file.
    pub first_frame: u64,
    /// The link channel's frame on the interface's stream, for events.
    pub stream_frame: u64,
    /// True for the last block of this repeat.
    pub last: bool,
    /// Samples in each channel.
    pub frame_count: u32,
    /// One vector a capture of the plan; `None` where the rig has no such channel.
    pub channels: Vec<Option<Vec<f32>>>,
}

impl OwnedBlock {
    /// The block of a payload. `None` where the payload is none or its lengths do not agree.
    #[must_use]
    pub fn decode(payload: &[u8]) -> Option<Self> {
        let (header, samples) = payload.split_at_checked(HEADER_BYTES)?;
        let channel_count = word(header, 8)? as usize;
        let frame_count = word(header, 12)?;
        let present = long(header, 24)?;
        let channel_bytes = frame_count as usize * SAMPLE_BYTES;
        if frame_count as usize > Block::FRAME_COUNT_MAX
            || channel_count > Block::CHANNEL_COUNT_MAX
            || present.checked_shr(channel_count as u32).unwrap_or(0) != 0
            || samples.len() != channel_bytes * present.count_ones() as usize
        {
            return None;
        }
        let mut rest = samples;
        let channels = (0..channel_count).map(|index| {
            (present >> index & 1 == 1).then(|| {
                let (channel, others) = rest.split_at(channel_bytes);
                rest = others;
                read_samples(channel)
            })
        });
        Some(Self {
            step: word(header, 0)?,
            repeat: word(header, 4)?,
            last: word(header, 16)? & 1 == 1,
            first_frame: long(header, 32)?,
            stream_frame: long(header, 40)?,
            frame_count,
            channels: channels.collect(),
        })
    }
}

/// Appends `samples` to `payload`, little endian.
pub fn append_samples(payload: &mut Vec<u8>, samples: &[f32]) {
    let start = payload.len();
    payload.resize(start + SAMPLE_BYTES * samples.len(), 0);
    let places = payload[start..].chunks_exact_mut(SAMPLE_BYTES);
    for (place, sample) in places.zip(samples) {
        place.copy_from_slice(&sample.to_le_bytes());
    }
}

/// The samples of `payload`; what is left of a last, incomplete one is dropped.
#[must_use]
pub fn read_samples(payload: &[u8]) -> Vec<f32> {
    let sample = |bytes: &[u8]| f32::from_le_bytes(bytes.try_into().expect("chunks of four"));
    payload.chunks_exact(SAMPLE_BYTES).map(sample).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn block<'a>(channels: &'a [Option<&'a [f32]>]) -> Block<'a> {
        Block {
            step: 3,
            repeat: 1,
            first_frame: 1 << 40,
            stream_frame: 7,
            last: true,
            channels,
        }
    }

    #[test]
    fn a_block_of_three_channels_comes_back_as_it_was() {
        let (link, played) = ([0.5, -1.0, f32::MIN_POSITIVE], [0.0, 1.0, 0.25]);
        let channels = [Some(&link[..]), None, Some(&played[..])];
        let payload = block(&channels).encode().unwrap();
        let got = OwnedBlock::decode(&payload).unwrap();
        assert_eq!(
            got.channels,
            [Some(link.to_vec()), None, Some(played.to_vec())]
        );
        assert_eq!((got.step, got.repeat, got.frame_count), (3, 1, 3));
        assert_eq!(
            (got.first_frame, got.stream_frame, got.last),
            (1 << 40, 7, true)
        );
    }

    #[test]
    fn sixty_four_channels_fit_and_sixty_five_do_not() {
        let one = [1.0_f32];
        let channels = vec![Some(&one[..]); 64];
        let payload = block(&channels).encode().unwrap();
        assert_eq!(OwnedBlock::decode(&payload).unwrap().channels.len(), 64);
        let channels = vec![Some(&one[..]); 65];
        assert!(block(&channels).encode().is_none());
    }

    #[test]
    fn channels_of_different_lengths_are_refused() {
        let channels = [Some(&[0.0_f32; 4][..]), Some(&[0.0_f32; 5][..])];
        assert!(block(&channels).encode().is_none());
    }

    #[test]
    fn a_payload_whose_lengths_do_not_agree_is_no_block() {
        let channels = [Some(&[0.0_f32; 4][..])];
        let payload = block(&channels).encode().unwrap();
        for length in 0..payload.len() {
            assert_eq!(
                OwnedBlock::decode(&payload[..length]),
                None,
                "cut to {length}"
            );
        }
        let mut more_channels = payload.clone();
        more_channels[24..32].fill(0xff);
        assert_eq!(OwnedBlock::decode(&more_channels), None);
        let mut more_frames = payload;
        more_frames[12..16].fill(0xff);
        assert_eq!(OwnedBlock::decode(&more_frames), None);
    }
}
