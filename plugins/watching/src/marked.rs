//! Marks that people set.

use goodwire_dsp::watch::marks::{BadMark, Mark, Marks};
use goodwire_plugin_sdk::{Failure, payload};

/// Puts a mark that stands at a frame.
///
/// # Errors
/// `mark-out-of-order` or `mark-distance`; the mark is not put.
pub fn put_mark(marks: &mut Marks, at_frame: f64, mark: &payload::Mark) -> Result<(), Failure> {
    let mark = Mark {
        frame: at_frame,
        metres: mark.metres,
        label: mark.label.clone(),
    };
    marks.put(mark).map_err(|wrong| match wrong {
        BadMark::OutOfOrder => Failure::new(
            "mark-out-of-order",
            "a mark stands before the one before it: marks are in order of time",
        ),
        BadMark::Distance(metres) => Failure::new(
            "mark-distance",
            format!("a mark has the distance {metres} m: distances are 0 or more"),
        ),
    })
}
