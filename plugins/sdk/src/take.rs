//! What was sent and what returned, gathered from blocks: live and recorded alike.
//!
//! An analysis whose stimulus is one step played once puts a [`Taking`] into its session, hands
//! it every `begin` and `feed`, and works on the whole [`Take`] in `finish`.

use crate::payload::open_request::Mode;
use crate::payload::plan::{Capture, capture};
use crate::payload::{OpenRequest, Plan, Step, step};
use crate::{Block, Failure, Fed};

/// Most samples of one channel that are kept: half an hour at 192 kHz.
const SAMPLE_COUNT_MAX: usize = 1_800 * 192_000;

/// A plan of one step, played once, again when frames were lost; the tail is silence.
///
/// Its captures are the link, the reference and what was played, as [`Taking`] expects them.
#[must_use]
pub fn plan_of_one_step(frame_count: usize, tail_frame_count: usize, peak_dbfs: f64) -> Plan {
    let kinds = [
        capture::Kind::Link,
        capture::Kind::Reference,
        capture::Kind::Played,
    ];
    let frames = |count: usize| i32::try_from(count).unwrap_or(i32::MAX);
    Plan {
        captures: kinds
            .map(|kind| Capture {
                kind: kind.into(),
                ..Capture::default()
            })
            .into_iter()
            .collect(),
        steps: vec![Step {
            frame_count: frames(frame_count),
            tail_frame_count: frames(tail_frame_count),
            repeat_count: 1,
            peak_dbfs,
            loss: step::Loss::Retry.into(),
            ..Step::default()
        }],
        ..Plan::default()
    }
}

/// The sound of a whole measurement.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Take {
    /// The sent file from its first frame; empty when live, where the session's own stimulus is
    /// what was sent.
    pub sent: Vec<f32>,
    /// The link's return; live, from the first stimulus frame on.
    pub returned: Vec<f32>,
    /// The reference's return, recorded together with `returned`.
    pub reference: Option<Vec<f32>>,
}

/// Gathers a [`Take`] from blocks.
#[derive(Debug, Clone)]
pub struct Taking {
    recorded: bool,
    take: Take,
}

impl Taking {
    /// Starts gathering for `request`.
    #[must_use]
    pub fn new(request: &OpenRequest) -> Self {
        Self {
            recorded: request.mode() == Mode::Recorded,
            take: Take::default(),
        }
    }

    /// Forgets the void repeat on a retry. Call it from `begin`.
    pub fn begin(&mut self, retry: bool) {
        if retry {
            self.take = Take::default();
        }
    }

    /// Takes a block of the captures of [`plan_of_one_step`]. Call it from `feed`.
    ///
    /// # Errors
    /// `too-long` for more than half an hour at 192 kHz.
    pub fn feed(&mut self, block: &Block<'_>) -> Result<Fed, Failure> {
        let channel = |index: usize| block.channels.get(index).copied().flatten();
        let first = usize::try_from(block.first_frame).unwrap_or(usize::MAX);
        if let Some(samples) = channel(0) {
            put(&mut self.take.returned, first, samples)?;
        }
        if let Some(samples) = channel(1) {
            let reference = self.take.reference.get_or_insert_default();
            put(reference, first, samples)?;
        }
        if let (true, Some(samples)) = (self.recorded, channel(2)) {
            put(&mut self.take.sent, first, samples)?;
        }
        Ok(Fed::More)
    }

    /// What was gathered. Call it from `finish`.
    #[must_use]
    pub fn finish(&mut self) -> Take {
        std::mem::take(&mut self.take)
    }
}

/// Puts `samples` at `first`; frames that were skipped are silence.
fn put(channel: &mut Vec<f32>, first: usize, samples: &[f32]) -> Result<(), Failure> {
    let end = first.saturating_add(samples.len());
    if end > SAMPLE_COUNT_MAX {
        return Err(Failure::new(
            "too-long",
            "the recording has more than half an hour at 192 kHz: cut it to the stimulus",
        ));
    }
    if channel.len() < end {
        channel.resize(end, 0.0);
    }
    channel[first..end].copy_from_slice(samples);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn feed(taking: &mut Taking, first_frame: u64, channels: &[Option<&[f32]>]) {
        let block = Block {
            step: 0,
            repeat: 0,
            first_frame,
            stream_frame: 0,
            last: false,
            channels,
        };
        assert_eq!(taking.feed(&block), Ok(Fed::More));
    }

    fn taking(mode: Mode) -> Taking {
        Taking::new(&OpenRequest {
            mode: mode.into(),
            ..OpenRequest::default()
        })
    }

    #[test]
    fn recordings_of_different_lengths_are_gathered_side_by_side() {
        let mut taking = taking(Mode::Recorded);
        feed(&mut taking, 0, &[None, None, Some(&[1.0, 2.0])]);
        feed(&mut taking, 2, &[None, None, Some(&[3.0])]);
        feed(&mut taking, 0, &[Some(&[4.0; 5]), Some(&[5.0; 5]), None]);
        let take = taking.finish();
        assert_eq!(take.sent, [1.0, 2.0, 3.0]);
        assert_eq!(take.returned, [4.0; 5]);
        assert_eq!(take.reference, Some(vec![5.0; 5]));
    }

    #[test]
    fn a_retry_forgets_and_live_ignores_what_was_played() {
        let mut taking = taking(Mode::Live);
        feed(&mut taking, 0, &[Some(&[1.0; 4]), None, Some(&[9.0; 4])]);
        taking.begin(true);
        feed(&mut taking, 0, &[Some(&[2.0; 3]), None, Some(&[9.0; 3])]);
        let take = taking.finish();
        assert_eq!((take.returned, take.reference), (vec![2.0; 3], None));
        assert!(take.sent.is_empty());
    }

    #[test]
    fn a_frame_number_beyond_reason_is_refused() {
        let mut taking = taking(Mode::Live);
        let channels: [Option<&[f32]>; 1] = [Some(&[1.0])];
        let block = Block {
            step: 0,
            repeat: 0,
            first_frame: u64::MAX,
            stream_frame: 0,
            last: false,
            channels: &channels,
        };
        assert_eq!(taking.feed(&block).unwrap_err().id, "too-long");
    }
}
