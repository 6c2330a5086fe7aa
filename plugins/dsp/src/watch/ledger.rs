//! The count of what a watch told of.

use serde::{Deserialize, Serialize};

use super::Lapse;

/// Gaps and concealed stretches that are kept one by one: the longest ones.
pub const PIECE_COUNT_MAX: usize = 1_000;

/// Clicks, bursts and shifts that are kept one by one: the first ones.
pub const OTHER_COUNT_MAX: usize = 500;

/// Counts dropouts, and keeps the lapses themselves as far as memory allows.
///
/// Gaps and concealed stretches that follow each other by less than the time to merge are one
/// dropout; the time lost is that of the pieces alone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ledger {
    merge_frame_count: f64,
    dropout_count: u64,
    piece_count: u64,
    other_count: u64,
    lost_frame_count: f64,
    longest_frame_count: f64,
    first_frame: Option<f64>,
    /// Where the last piece began, and where it ended.
    last: Option<[f64; 2]>,
    pieces: Vec<Lapse>,
    others: Vec<Lapse>,
}

impl Ledger {
    /// Nothing has happened; pieces less than `merge_frame_count` frames apart are one dropout.
    #[must_use]
    pub fn new(merge_frame_count: f64) -> Self {
        Self {
            merge_frame_count,
            dropout_count: 0,
            piece_count: 0,
            other_count: 0,
            lost_frame_count: 0.0,
            longest_frame_count: 0.0,
            first_frame: None,
            last: None,
            pieces: Vec::new(),
            others: Vec::new(),
        }
    }

    /// Takes the next lapse, in order of time.
    pub fn put(&mut self, lapse: Lapse) {
        if lapse.kind.is_lost() {
            return self.put_piece(lapse);
        }
        self.other_count += 1;
        if self.others.len() < OTHER_COUNT_MAX {
            self.others.push(lapse);
        }
    }

    fn put_piece(&mut self, lapse: Lapse) {
        let is_new = self
            .last
            .is_none_or(|[_, end]| lapse.start_frame - end >= self.merge_frame_count);
        let end = lapse.start_frame + lapse.frame_count;
        self.dropout_count += u64::from(is_new);
        self.piece_count += 1;
        self.lost_frame_count += lapse.frame_count;
        self.longest_frame_count = self.longest_frame_count.max(lapse.frame_count);
        self.first_frame.get_or_insert(lapse.start_frame);
        self.last = Some([lapse.start_frame, end]);
        self.pieces.push(lapse);
        // Sorted seldom: each time half of them are dropped.
        if self.pieces.len() >= 2 * PIECE_COUNT_MAX {
            self.pieces = longest(&self.pieces);
        }
    }

    /// How many dropouts there were.
    #[must_use]
    pub fn dropout_count(&self) -> u64 {
        self.dropout_count
    }

    /// How many gaps and concealed stretches they are made of.
    #[must_use]
    pub fn piece_count(&self) -> u64 {
        self.piece_count
    }

    /// Frames that were lost, those between pieces not counted.
    #[must_use]
    pub fn lost_frame_count(&self) -> f64 {
        self.lost_frame_count
    }

    /// Frames of the longest piece.
    #[must_use]
    pub fn longest_frame_count(&self) -> f64 {
        self.longest_frame_count
    }

    /// Where the first dropout began.
    #[must_use]
    pub fn first_frame(&self) -> Option<f64> {
        self.first_frame
    }

    /// Where the last gap or concealed stretch began.
    #[must_use]
    pub fn last_frame(&self) -> Option<f64> {
        self.last.map(|[start, _]| start)
    }

    /// The lapses that are kept, in order of time.
    #[must_use]
    pub fn kept(&self) -> Vec<Lapse> {
        let mut kept = longest(&self.pieces);
        kept.extend(&self.others);
        kept.sort_by(|a, b| a.start_frame.total_cmp(&b.start_frame));
        kept
    }

    /// How many lapses are counted but not kept.
    #[must_use]
    pub fn left_out(&self) -> u64 {
        let kept = self.pieces.len().min(PIECE_COUNT_MAX) + self.others.len();
        (self.piece_count + self.other_count).saturating_sub(kept as u64)
    }
}

/// The longest [`PIECE_COUNT_MAX`] of them, in order of time.
fn longest(pieces: &[Lapse]) -> Vec<Lapse> {
    let mut kept = pieces.to_vec();
    if kept.len() > PIECE_COUNT_MAX {
        kept.sort_by(|a, b| b.frame_count.total_cmp(&a.frame_count));
        kept.truncate(PIECE_COUNT_MAX);
        kept.sort_by(|a, b| a.start_frame.total_cmp(&b.start_frame));
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::watch::LapseKind;

    fn piece(kind: LapseKind, start_frame: f64, frame_count: f64) -> Lapse {
        Lapse {
            kind,
            start_frame,
            frame_count,
        }
    }

    #[test]
    fn pieces_closer_than_the_time_to_merge_are_one_dropout_and_lose_their_own_time_alone() {
        let mut ledger = Ledger::new(4_800.0);
        ledger.put(piece(LapseKind::Gap, 10_000.0, 1_000.0));
        ledger.put(piece(LapseKind::Click, 11_500.0, 30.0));
        ledger.put(piece(LapseKind::Concealed, 15_799.0, 500.0));
        assert_eq!(ledger.dropout_count(), 1);
        ledger.put(piece(LapseKind::Gap, 16_299.0 + 4_800.0, 200.0));
        ledger.put(piece(LapseKind::Shift, 50_000.0, 0.0));
        assert_eq!((ledger.dropout_count(), ledger.piece_count()), (2, 3));
        assert!((ledger.lost_frame_count() - 1_700.0).abs() < 1e-9);
        assert!((ledger.longest_frame_count() - 1_000.0).abs() < 1e-9);
        assert_eq!(ledger.first_frame(), Some(10_000.0));
        assert_eq!(ledger.last_frame(), Some(21_099.0));
        assert_eq!((ledger.kept().len(), ledger.left_out()), (5, 0));
    }

    #[test]
    fn of_20_000_gaps_all_are_counted_and_the_longest_1_000_kept_in_order() {
        let mut ledger = Ledger::new(10.0);
        for number in 0..20_000u32 {
            // Every twentieth one is long.
            let length = if number % 20 == 3 { 50.0 } else { 5.0 };
            ledger.put(piece(LapseKind::Gap, f64::from(number) * 100.0, length));
        }
        let kept = ledger.kept();
        assert_eq!(
            (ledger.dropout_count(), kept.len()),
            (20_000, PIECE_COUNT_MAX)
        );
        assert!(kept.iter().all(|lapse| lapse.frame_count > 49.0));
        assert!(kept.is_sorted_by(|a, b| a.start_frame < b.start_frame));
        assert_eq!(ledger.left_out(), 19_000);
    }
}
