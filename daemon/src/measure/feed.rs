//! Brings the link's and the reference's frames onto the stimulus' own index.
//!
//! The link's stimulus was played `stagger` frames later than the reference's, so its frames are
//! `stagger` later in the performance; what is handed on has one index for both.

use std::collections::VecDeque;

use crate::audio::performance::Captured;

/// Consecutive frames with one stimulus index.
#[derive(Debug, Clone, PartialEq)]
pub struct Frames {
    /// Stimulus index of the first frame.
    pub first_frame: u64,
    /// The interface's stream frame at which the link's first frame was heard.
    pub stream_frame: u64,
    /// What the link returned.
    pub link: Vec<f32>,
    /// What the reference returned, as many; `None` where the rig has none.
    pub reference: Option<Vec<f32>>,
    /// What the returns of other links heard meanwhile, as many each, in the order of the plan.
    pub others: Vec<Vec<f32>>,
    /// True where these are the last frames of the step.
    pub last: bool,
}

/// The frames of one link and of the reference, for one play of one step.
#[derive(Debug)]
pub struct Feed {
    stagger_frames: u64,
    /// `None`: it has no end.
    frame_count: Option<u64>,
    link_return: usize,
    reference_return: Option<usize>,
    other_returns: Vec<usize>,
    handed_frames: u64,
    link: VecDeque<f32>,
    reference: VecDeque<f32>,
    others: Vec<VecDeque<f32>>,
    /// Stream frame of the performance's first frame, once it is known.
    stream_start: u64,
}

impl Feed {
    /// Begins a play of `frame_count` frames, tail included; `None`: of one without an end, which
    /// is not staggered.
    #[must_use]
    pub fn new(
        stagger_frames: u64,
        frame_count: Option<u64>,
        link_return: usize,
        reference_return: Option<usize>,
        other_returns: Vec<usize>,
    ) -> Self {
        Self {
            others: vec![VecDeque::new(); other_returns.len()],
            other_returns,
            stagger_frames,
            frame_count,
            link_return,
            reference_return,
            handed_frames: 0,
            link: VecDeque::new(),
            reference: VecDeque::new(),
            stream_start: 0,
        }
    }

    /// Begins where an earlier daemon has come to.
    #[must_use]
    pub fn from_frame(self, handed_frames: u64) -> Self {
        Self {
            handed_frames,
            ..self
        }
    }

    /// How many frames before these were lost, which is for those that have no end alone; the
    /// frames are then handed on as those that they are.
    pub fn skip_lost(&mut self, captured: &Captured) -> u64 {
        if self.frame_count.is_some() {
            return 0;
        }
        let lost = captured.first_frame.saturating_sub(self.handed_frames);
        self.handed_frames += lost;
        lost
    }

    /// Frame up to which all was handed on.
    #[must_use]
    pub fn handed_frames(&self) -> u64 {
        self.handed_frames
    }

    /// Takes what was heard, and gives what can be handed on: nothing before both have it.
    pub fn take(&mut self, captured: &Captured) -> Option<Frames> {
        // A watch that goes on with another stream is further than that.
        self.stream_start = captured.stream_frame.wrapping_sub(captured.first_frame);
        let link = &captured.returns[self.link_return];
        let skip = self.stagger_frames.saturating_sub(captured.first_frame) as usize;
        let skip = skip.min(link.len());
        self.link.extend(&link[skip..]);
        for (other, index) in self.others.iter_mut().zip(&self.other_returns) {
            other.extend(&captured.returns[*index][skip..]);
        }
        let mut ready = self.link.len();
        if let Some(index) = self.reference_return {
            self.reference.extend(&captured.returns[index]);
            ready = ready.min(self.reference.len());
        }
        let left = self
            .frame_count
            .map_or(u64::MAX, |all| all - self.handed_frames);
        let count = ready.min(usize::try_from(left).unwrap_or(usize::MAX));
        (count > 0).then(|| self.hand(count))
    }

    fn hand(&mut self, count: usize) -> Frames {
        let first_frame = self.handed_frames;
        self.handed_frames += count as u64;
        Frames {
            first_frame,
            stream_frame: self
                .stream_start
                .wrapping_add(self.stagger_frames + first_frame),
            link: self.link.drain(..count).collect(),
            reference: self
                .reference_return
                .map(|_| self.reference.drain(..count).collect()),
            others: self
                .others
                .iter_mut()
                .map(|other| other.drain(..count).collect())
                .collect(),
            last: Some(self.handed_frames) == self.frame_count,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A performance whose return 0 counts frames and whose return 1 counts `stagger` behind it.
    fn captured(first_frame: u64, count: u64, stagger: u64) -> Captured {
        let frames = first_frame..first_frame + count;
        let link = frames.clone().map(|n| n as f32 - stagger as f32).collect();
        let reference = frames.map(|n| n as f32).collect();
        Captured {
            epoch: 1,
            first_frame,
            stream_frame: 1000 + first_frame,
            returns: vec![link, reference],
        }
    }

    #[test]
    fn staggered_links_and_the_reference_share_one_stimulus_index_for_any_block_size() {
        for block in [1, 7, 64, 100] {
            let mut feed = Feed::new(30, Some(100), 0, Some(1), vec![0]);
            let (mut next, mut ended) = (0, false);
            for first in (0..130).step_by(block) {
                let count = (block as u64).min(130 - first);
                let Some(frames) = feed.take(&captured(first, count, 30)) else {
                    continue;
                };
                assert_eq!(frames.first_frame, next);
                assert_eq!(frames.stream_frame, 1030 + next);
                assert_eq!(frames.link[0], next as f32);
                assert_eq!(frames.reference.expect("there is one"), frames.link);
                assert_eq!(frames.others, std::slice::from_ref(&frames.link));
                next += frames.link.len() as u64;
                ended = frames.last;
            }
            assert_eq!((next, ended), (100, true), "block of {block}");
        }
    }

    #[test]
    fn after_40_lost_frames_a_watch_is_fed_at_frame_140_without_an_end() {
        let mut feed = Feed::new(0, None, 0, Some(1), Vec::new());
        assert_eq!(feed.skip_lost(&captured(0, 100, 0)), 0);
        assert_eq!(
            feed.take(&captured(0, 100, 0)).map(|f| f.first_frame),
            Some(0)
        );
        let later = captured(140, 10, 0);
        assert_eq!(feed.skip_lost(&later), 40);
        let frames = feed.take(&later).expect("both have it");
        assert_eq!((frames.first_frame, frames.stream_frame), (140, 1140));
        assert!(!frames.last && frames.link[0] == 140.0);
    }
}
