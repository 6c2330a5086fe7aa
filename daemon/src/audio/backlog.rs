//! What was heard and is not yet digested by all who listen: bounded, so that memory is.

use std::{
    collections::VecDeque,
    sync::{Arc, Weak},
};

use super::performance::Captured;

/// Those who listen may be behind by so many seconds of sound.
const BEHIND_S: f64 = 10.0;

/// The pieces that somebody still holds.
#[derive(Debug)]
pub(super) struct Backlog {
    pieces: VecDeque<(Weak<Captured>, usize)>,
    frame_count: usize,
    frame_count_max: usize,
}

impl Backlog {
    /// An empty one, at a rate in Hz.
    pub(super) fn new(rate_hz: u32) -> Self {
        Self {
            pieces: VecDeque::new(),
            frame_count: 0,
            frame_count_max: (BEHIND_S * f64::from(rate_hz)) as usize,
        }
    }

    /// Takes note of a piece that is handed out.
    pub(super) fn push(&mut self, captured: &Arc<Captured>) {
        let frame_count = captured.returns.first().map_or(0, Vec::len);
        self.frame_count += frame_count;
        self.pieces
            .push_back((Arc::downgrade(captured), frame_count));
    }

    /// True while those who listen are too far behind. Pieces are digested in order.
    pub(super) fn is_full(&mut self) -> bool {
        while let Some((piece, frame_count)) = self.pieces.front()
            && piece.strong_count() == 0
        {
            self.frame_count -= frame_count;
            self.pieces.pop_front();
        }
        self.frame_count >= self.frame_count_max
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ten_seconds_that_are_held_are_too_much_until_a_piece_is_let_go() {
        let mut backlog = Backlog::new(48_000);
        let piece = || {
            Arc::new(Captured {
                epoch: 1,
                first_frame: 0,
                stream_frame: 0,
                returns: vec![vec![0.0; 48_000]],
            })
        };
        let mut held: VecDeque<_> = (0..10).map(|_| piece()).collect();
        for one in held.iter().take(9) {
            backlog.push(one);
        }
        assert!(!backlog.is_full());
        backlog.push(&held[9]);
        assert!(backlog.is_full());
        held.pop_front();
        assert!(!backlog.is_full());
    }
}
