//! Where the pilot lies in recordings.

use std::ops::Range;

use goodwire_dsp::align::{AlignError, Recordings, align};
use goodwire_dsp::stimulus::Stimulus;
use goodwire_plugin_sdk::take::Take;

use crate::body::Played;

/// What is to be compared, and where it stands in the returned recording.
pub struct Compared {
    /// What the link returned.
    pub link: Vec<f32>,
    /// What it had to carry.
    pub cable: Vec<f32>,
    /// Frame of the returned recording at which both begin.
    pub first_frame: f64,
    /// Frames of the returned recording for each frame here: not 1 where the player had another
    /// clock and there is no cable.
    pub stretch: f64,
}

/// Finds the pilot in the cable's recording, so that a link that is silent does no harm; without
/// one, in the link's, which is then put on the stimulus' clock.
///
/// # Errors
/// [`AlignError`] where it is not in there.
pub fn compared(
    take: &Take,
    stimulus: &Stimulus<Played>,
    returned_rate_hz: f64,
) -> Result<Compared, AlignError> {
    if !stimulus.is_what_was_sent(&take.sent) {
        return Err(AlignError::SentMismatch);
    }
    let heard = take.reference.as_deref().unwrap_or(&take.returned);
    let alignment = align(&Recordings {
        sent: &take.sent,
        layout: stimulus.layout(),
        returned: heard,
        reference: None,
        returned_rate_hz,
    })?;
    let body = alignment.layout.body.clone();
    let track = &alignment.link;
    let place = |frame: usize| track.position(frame as f64);
    if let Some(reference) = &take.reference {
        let range = within(
            place(body.start).floor(),
            place(body.end).ceil(),
            reference.len().min(take.returned.len()),
        );
        return Ok(Compared {
            link: take.returned[range.clone()].to_vec(),
            cable: reference[range.clone()].to_vec(),
            first_frame: range.start as f64,
            stretch: 1.0,
        });
    }
    let narrow = |samples: &[f64]| samples[body.clone()].iter().map(|&x| x as f32).collect();
    Ok(Compared {
        link: narrow(&track.samples),
        cable: narrow(&alignment.sent),
        first_frame: place(body.start),
        stretch: 1.0 + track.removed_skew,
    })
}

fn within(from: f64, to: f64, count: usize) -> Range<usize> {
    let from = (from.max(0.0) as usize).min(count);
    from..(to.max(0.0) as usize).clamp(from, count)
}
