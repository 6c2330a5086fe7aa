//! Where somebody stood when: marks, and the places between them.

use serde::{Deserialize, Serialize};

/// Marks that are kept.
pub const MARK_COUNT_MAX: usize = 2_000;

/// What somebody noted at a frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Mark {
    /// Frame of the capture.
    pub frame: f64,
    /// Distance in metres; `None` where none was given.
    pub metres: Option<f64>,
    /// Label in the person's words.
    pub label: String,
}

/// Why a mark is not taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BadMark {
    /// It stands before the one before it.
    OutOfOrder,
    /// Its distance is negative or no number.
    Distance(f64),
}

/// The marks of one watch, in order of time.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Marks {
    kept: Vec<Mark>,
    dropped: u64,
}

impl Marks {
    /// Takes the next mark. Past [`MARK_COUNT_MAX`] it is counted and not kept.
    ///
    /// # Errors
    /// [`BadMark`]; the mark is not taken.
    pub fn put(&mut self, mark: Mark) -> Result<(), BadMark> {
        if let Some(metres) = mark.metres.filter(|metres| !(0.0..1e9).contains(metres)) {
            return Err(BadMark::Distance(metres));
        }
        let before = self.kept.last().map_or(0.0, |last| last.frame);
        if mark.frame.is_nan() || mark.frame < before {
            return Err(BadMark::OutOfOrder);
        }
        if self.kept.len() < MARK_COUNT_MAX {
            self.kept.push(mark);
        } else {
            self.dropped += 1;
        }
        Ok(())
    }

    /// Those that are kept.
    #[must_use]
    pub fn kept(&self) -> &[Mark] {
        &self.kept
    }

    /// How many were too many.
    #[must_use]
    pub fn dropped(&self) -> u64 {
        self.dropped
    }

    /// The distance at `frame`, on the straight line between the marks before and after it that
    /// have one. `None` before the first and after the last: nobody said where that was.
    #[must_use]
    pub fn metres_at(&self, frame: f64) -> Option<f64> {
        let with_metres = || {
            let places = self.kept.iter();
            places.filter_map(|mark| Some((mark.frame, mark.metres?)))
        };
        let (before, from) = with_metres().rfind(|place| place.0 <= frame)?;
        let (after, to) = with_metres().find(|place| place.0 >= frame)?;
        if after <= before {
            return Some(from);
        }
        Some(from + (to - from) * (frame - before) / (after - before))
    }

    /// The largest distance that was marked up to `frame`.
    #[must_use]
    pub fn farthest_until(&self, frame: f64) -> Option<f64> {
        let passed = self.kept.iter().take_while(|mark| mark.frame <= frame);
        passed.filter_map(|mark| mark.metres).reduce(f64::max)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mark(frame: f64, metres: Option<f64>) -> Mark {
        Mark {
            frame,
            metres,
            label: format!("at {frame}"),
        }
    }

    fn walk() -> Marks {
        let mut marks = Marks::default();
        for (frame, metres) in [
            (100.0, Some(5.0)),
            (150.0, None),
            (200.0, Some(15.0)),
            (200.0, Some(16.0)),
            (300.0, Some(10.0)),
        ] {
            marks.put(mark(frame, metres)).unwrap();
        }
        marks
    }

    #[test]
    fn between_two_marks_the_distance_lies_on_a_line_and_outside_nobody_knows() {
        let marks = walk();
        assert_eq!(marks.metres_at(100.0), Some(5.0));
        assert_eq!(marks.metres_at(130.0), Some(8.0));
        assert_eq!(marks.metres_at(250.0), Some(13.0));
        assert_eq!(marks.metres_at(300.0), Some(10.0));
        assert_eq!(
            (marks.metres_at(99.0), marks.metres_at(301.0)),
            (None, None)
        );
        assert_eq!(marks.farthest_until(99.0), None);
        assert_eq!(marks.farthest_until(199.0), Some(5.0));
        assert_eq!(marks.farthest_until(400.0), Some(16.0));
    }

    #[test]
    fn marks_out_of_order_and_negative_distances_are_refused_and_too_many_counted() {
        let mut marks = walk();
        assert_eq!(marks.put(mark(299.0, None)), Err(BadMark::OutOfOrder));
        let negative = marks.put(mark(400.0, Some(-1.0)));
        assert_eq!(negative, Err(BadMark::Distance(-1.0)));
        assert_eq!(marks.kept().len(), 5);
        for _ in 0..MARK_COUNT_MAX {
            marks.put(mark(500.0, None)).unwrap();
        }
        assert_eq!((marks.kept().len(), marks.dropped()), (MARK_COUNT_MAX, 5));
    }
}
