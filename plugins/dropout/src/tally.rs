//! Counts what a watch tells: lost pieces become dropouts, gaps and the time that was lost.

use goodwire_dsp::watch::{Lapse, LapseKind};

/// Pieces that a result lists; further ones are counted.
pub const LISTED_MAX: usize = 2_000;

/// What was seen so far.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    /// The first pieces, in order of time.
    pub listed: Vec<Lapse>,
    /// Pieces that are not listed.
    pub unlisted: u64,
    /// Dropouts: pieces that are closer than `merge_s` count as one.
    pub dropouts: u64,
    /// Lost pieces.
    pub pieces: u64,
    /// Lost frames, of all pieces.
    pub lost_frames: f64,
    /// Frames of the longest piece.
    pub longest_frames: f64,
    /// Where the first piece begins.
    pub first_frame: Option<f64>,
    /// How often the interface lost frames.
    pub losses: u64,
    /// Frames that the interface lost.
    pub frames_lost: f64,
    last_end: Option<f64>,
}

/// True where the link's sound was lost or replaced.
pub fn is_lost(kind: LapseKind) -> bool {
    matches!(kind, LapseKind::Gap | LapseKind::Concealed)
}

impl Tally {
    /// Takes the next lapse; lost pieces closer than `merge_frames` are one dropout.
    pub fn take(&mut self, lapse: Lapse, merge_frames: f64) {
        if self.listed.len() < LISTED_MAX {
            self.listed.push(lapse);
        } else {
            self.unlisted += 1;
        }
        if !is_lost(lapse.kind) {
            return;
        }
        let is_new = self
            .last_end
            .is_none_or(|end| lapse.start_frame - end >= merge_frames);
        self.dropouts += u64::from(is_new);
        self.pieces += 1;
        self.lost_frames += lapse.frame_count;
        self.longest_frames = self.longest_frames.max(lapse.frame_count);
        self.first_frame.get_or_insert(lapse.start_frame);
        self.last_end = Some(lapse.start_frame + lapse.frame_count);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lapse(kind: LapseKind, start_frame: f64, frame_count: f64) -> Lapse {
        Lapse {
            kind,
            start_frame,
            frame_count,
        }
    }

    #[test]
    fn pieces_closer_than_100_ms_are_one_dropout_and_their_lost_time_adds_up() {
        let mut tally = Tally::default();
        for (start, length) in [(48_000.0, 480.0), (50_000.0, 240.0), (60_000.0, 96.0)] {
            tally.take(lapse(LapseKind::Gap, start, length), 4_800.0);
        }
        tally.take(lapse(LapseKind::Click, 80_000.0, 40.0), 4_800.0);
        assert_eq!((tally.dropouts, tally.pieces), (2, 3));
        assert_eq!((tally.lost_frames, tally.longest_frames), (816.0, 480.0));
        assert_eq!((tally.first_frame, tally.listed.len()), (Some(48_000.0), 4));
    }
}
