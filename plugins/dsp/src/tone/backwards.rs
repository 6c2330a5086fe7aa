//! Tells a recording of tones that was turned round.
//!
//! A stimulus reads nearly the same from both ends: the closing burst is the opening one backwards,
//! so that alignment alone finds both bursts at their distance in a recording that was turned round.
//! The silence before the body is shorter than that after it, though: turned round, the body is late
//! by the difference.

use std::ops::Range;

use crate::align::{AlignError, Alignment, Track};
use crate::stimulus::Layout;

/// Power ratio, 6 dB, that tells a tone from its absence. White noise of 40 ms in a band of 20 kHz
/// varies by 4.34 / sqrt(B T) = 0.15 dB: 6 dB are 40 deviations, and 6 where all of the noise lies
/// in 450 Hz.
const POWER_RATIO: f64 = 4.0;

/// Refuses recordings whose body of tones lies where it lies in the stimulus turned round: silence
/// where the first tone is to begin, and sound as before where the last one is to have ended.
///
/// Both have to hold, so that neither a link that opens late nor one that rings on is refused. Valid
/// where first and last tone last 0.25 s or more.
///
/// # Errors
/// [`AlignError::Backwards`].
pub fn refuse_backwards(alignment: &Alignment) -> Result<(), AlignError> {
    let tracks = [
        (Some(&alignment.link), "link"),
        (alignment.reference.as_ref(), "reference"),
    ];
    for (track, which) in tracks {
        if track.is_some_and(|track| is_backwards(track, &alignment.layout)) {
            return Err(AlignError::Backwards { which });
        }
    }
    Ok(())
}

fn is_backwards(track: &Track, layout: &Layout) -> bool {
    let before = layout.body.start - layout.opening.end;
    let after = layout.closing.start - layout.body.end;
    let late = after.saturating_sub(before) as f64;
    // Mean power from so many shares of the lateness to so many, counted from a frame.
    let power = |frame: usize, shares: Range<f64>| {
        let at = |share: f64| (frame as f64 + share * late) as usize;
        let end = at(shares.end).min(track.samples.len());
        let heard = &track.samples[at(shares.start).min(end)..end];
        heard.iter().map(|x| x * x).sum::<f64>() / heard.len().max(1) as f64
    };
    let (start, end) = (layout.body.start, layout.body.end);
    let begins_late = power(start, 1.1..1.5) > POWER_RATIO * power(start, 0.2..0.9);
    let goes_on = POWER_RATIO * power(end, 0.2..0.9) > power(end, -0.5..-0.1);
    begins_late && goes_on
}
