//! Marks of recordings: what of them is wrong is told of each by its place in the list.

use goodwire_proto::{
    plugin::v1::{Mark, SessionNote, session_note},
    v1::RecordingMark,
};

use crate::refusal::Violation;

/// The marks as a session is told them, on frames of the returned recording, which has so many of
/// them at `rate_hz`.
///
/// # Errors
/// One violation for each mark that is before the recording's first frame, after its last, earlier
/// than the one before it, or at no distance.
pub(super) fn notes(
    marks: &[RecordingMark],
    frame_count: usize,
    rate_hz: u32,
) -> Result<Vec<SessionNote>, Vec<Violation>> {
    let rate_hz = f64::from(rate_hz);
    let end_s = frame_count as f64 / rate_hz;
    let (mut wrong, mut notes, mut before_s) = (Vec::new(), Vec::new(), 0.0_f64);
    for (index, mark) in marks.iter().enumerate() {
        let mut refuse = |field: &str, text: String| {
            wrong.push(Violation::new(format!("marks[{index}].{field}"), text));
        };
        let start_s = mark.start_s.unwrap_or(f64::NAN);
        match time_is_wrong(start_s, before_s, end_s) {
            Some(text) => refuse("start_s", text),
            None => before_s = start_s,
        }
        if let Some(metres) = mark
            .metres
            .filter(|metres| !(0.0..f64::INFINITY).contains(metres))
        {
            let text = format!("{metres} m is no distance: 0 or more would be right");
            refuse("metres", text);
        }
        notes.push(SessionNote {
            at_frame: start_s * rate_hz,
            note: Some(session_note::Note::Mark(Mark {
                metres: mark.metres,
                label: mark.label.clone(),
            })),
        });
    }
    if wrong.is_empty() {
        Ok(notes)
    } else {
        Err(wrong)
    }
}

/// What is wrong with the time of a mark; `None` where nothing is.
fn time_is_wrong(start_s: f64, before_s: f64, end_s: f64) -> Option<String> {
    if !(0.0..f64::INFINITY).contains(&start_s) {
        return Some("a mark has seconds from the recording's first frame, 0 or more".into());
    }
    if start_s < before_s {
        return Some(format!(
            "{start_s} s is before {before_s} s: marks stand in order of time"
        ));
    }
    (start_s > end_s)
        .then(|| format!("{start_s} s is after the end of the returned recording at {end_s:.3} s"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mark(start_s: Option<f64>, metres: Option<f64>) -> RecordingMark {
        RecordingMark {
            start_s,
            metres,
            label: String::new(),
        }
    }

    /// Fields that are refused in a recording of 10 s at 48 kHz.
    fn refused(marks: &[RecordingMark]) -> Vec<String> {
        let fields = |wrong: Vec<Violation>| wrong.into_iter().map(|one| one.field).collect();
        notes(marks, 480_000, 48_000).map_or_else(fields, |_| Vec::new())
    }

    #[test]
    fn marks_in_order_within_10_s_come_at_their_frames() {
        let marks = [
            mark(Some(0.0), None),
            mark(Some(2.5), Some(0.0)),
            mark(Some(2.5), Some(12.0)),
            mark(Some(10.0), Some(5.0)),
        ];
        let frames: Vec<f64> = notes(&marks, 480_000, 48_000)
            .unwrap()
            .iter()
            .map(|note| note.at_frame)
            .collect();
        assert_eq!(frames, [0.0, 120_000.0, 120_000.0, 480_000.0]);
    }

    #[test]
    fn each_wrong_mark_is_named_by_its_place_and_what_of_it_is_wrong() {
        let marks = [
            mark(Some(-1.0), None),
            mark(Some(4.0), Some(-0.5)),
            mark(Some(3.0), None),
            mark(Some(10.1), Some(f64::NAN)),
            mark(None, Some(1.0)),
            mark(Some(f64::INFINITY), Some(f64::INFINITY)),
            mark(Some(5.0), Some(2.0)),
        ];
        let want = [
            "marks[0].start_s",
            "marks[1].metres",
            "marks[2].start_s",
            "marks[3].start_s",
            "marks[3].metres",
            "marks[4].start_s",
            "marks[5].start_s",
            "marks[5].metres",
        ];
        assert_eq!(refused(&marks), want);
    }
}
