//! Puts recordings on the frames of the stimulus that they are of.
//!
//! The opening and the closing burst are found by correlation, wherever the recording starts and
//! whatever its rate. The difference of their delays tells the recorder's clock from the
//! player's; where that matters, the recording is read on the stimulus' clock by band-limited
//! interpolation. What else the link does to the sound is left as it is.

mod ends;
mod error;
mod read;
mod track;

pub use error::AlignError;
pub use track::{Skew, Track};

use std::ops::Range;

use crate::check;
use crate::correlate::Detector;
use crate::resample::Resampler;
use crate::stimulus::Layout;
use ends::Ends;
use read::ClockReader;

/// Likeness below which a burst counts as not found.
///
/// A burst has D = 2 x 0.15 s x 13 kHz = 3,900 degrees of freedom, so the likeness of noise has a
/// standard deviation of 0.016: 0.2 is more than 12 of them, and still 6 where an unrelated
/// sound fills but a quarter of the band. A burst at -14 dB against the noise in its band passes.
pub const LIKENESS_MIN: f64 = 0.2;

/// Skew in frames over the whole stimulus below which the recording is left as it is.
const SKEW_FRAMES_MAX: f64 = 0.002;

/// What was sent and what returned.
#[derive(Debug, Clone, Copy)]
pub struct Recordings<'a> {
    /// The stimulus as sent, from its first frame on.
    pub sent: &'a [f32],
    /// Where its parts lie, at the rate of `sent`.
    pub layout: &'a Layout,
    /// The link's return.
    pub returned: &'a [f32],
    /// The reference's return, recorded together with `returned`: same start, same clock.
    pub reference: Option<&'a [f32]>,
    /// Nominal rate in Hz of `returned` and `reference`.
    pub returned_rate_hz: f64,
}

/// Recordings on the frames of the stimulus, all at the nominal rate of the recordings.
#[derive(Debug, Clone)]
pub struct Alignment {
    /// Where the parts lie; its `rate_hz` is that of everything here.
    pub layout: Layout,
    /// The stimulus at that rate.
    pub sent: Vec<f64>,
    /// The link's return.
    pub link: Track,
    /// The reference's return, where there is one.
    pub reference: Option<Track>,
}

/// Puts `recordings` on the frames of the stimulus.
///
/// `tracks[n]` is then what returned of `sent[n]`, up to a residual delay of about a sample that
/// the analysis finds; [`Track::offset_frames`] remembers what was taken out. Valid for clocks
/// within 400 ppm of each other and delays that change by less than 60 ms.
///
/// # Errors
/// [`AlignError`] says what is wrong with the recordings: nothing is guessed.
pub fn align(recordings: &Recordings<'_>) -> Result<Alignment, AlignError> {
    let layout = recordings.layout.at_rate(recordings.returned_rate_hz);
    let sent = at_rate(recordings, layout.frame_count());
    let finder = Finder::new(&sent, &layout);
    let mut link = finder.find(recordings.returned, "link", None)?;
    let mut reference = recordings
        .reference
        .map(|samples| finder.find(samples, "reference", Some(link.opening_position)))
        .transpose()?;
    if let Some(reference) = &mut reference {
        track::share_clock(&mut link, reference);
    }
    let build = |ends: &Ends, samples: &[f32]| {
        Track::build(ends, samples, &finder.reader, &layout, SKEW_FRAMES_MAX)
    };
    let link = build(&link, recordings.returned);
    let reference = reference
        .zip(recordings.reference)
        .map(|(ends, samples)| build(&ends, samples));
    drop(finder);
    Ok(Alignment {
        layout,
        sent,
        link,
        reference,
    })
}

/// Flat tops from which on a recording counts as clipped.
const FLAT_TOPS_MIN: usize = 4;

/// Refuses recordings in which the stimulus itself is cut off at its crests.
///
/// # Errors
/// [`AlignError::Clipped`].
pub fn refuse_clipped(
    recordings: &Recordings<'_>,
    alignment: &Alignment,
) -> Result<(), AlignError> {
    let refuse = |samples: &[f32], track: &Track, which| {
        let first = track.offset_frames.max(0.0) as usize;
        let end = (first + alignment.layout.frame_count()).min(samples.len());
        let count = check::flat_top_count(&samples[first.min(end)..end]);
        if count >= FLAT_TOPS_MIN {
            return Err(AlignError::Clipped { which, count });
        }
        Ok(())
    };
    refuse(recordings.returned, &alignment.link, "link")?;
    match recordings.reference.zip(alignment.reference.as_ref()) {
        Some((samples, track)) => refuse(samples, track, "reference"),
        None => Ok(()),
    }
}

/// The stimulus at the rate of the recordings, `frame_count` samples.
fn at_rate(recordings: &Recordings<'_>, frame_count: usize) -> Vec<f64> {
    let mut sent: Vec<f64> = recordings.sent.iter().map(|&x| f64::from(x)).collect();
    let step = recordings.layout.rate_hz / recordings.returned_rate_hz;
    if (step - 1.0).abs() < 1e-12 {
        sent.resize(frame_count, 0.0);
        return sent;
    }
    Resampler::new(step).resample(&sent, 0.0, step, frame_count)
}

/// Seconds about the link's sound in which the reference's is looked for first: a link is late by
/// a second at most.
const NEAR_S: f64 = 1.1;

/// Finds one stimulus in recordings.
struct Finder<'a> {
    sent: &'a [f64],
    layout: &'a Layout,
    opening: Detector,
    closing: Detector,
    reader: ClockReader,
}

impl<'a> Finder<'a> {
    fn new(sent: &'a [f64], layout: &'a Layout) -> Self {
        let detector = |range: &Range<usize>| Detector::new(&sent[range.clone()], layout.rate_hz);
        Self {
            sent,
            layout,
            opening: detector(&layout.opening),
            closing: detector(&layout.closing),
            reader: ClockReader::default(),
        }
    }

    /// Where both bursts lie in `samples`, as finely as the noise allows; first looked for about
    /// the frame `near`.
    fn find(
        &self,
        samples: &[f32],
        which: &'static str,
        near: Option<f64>,
    ) -> Result<Ends, AlignError> {
        if let Some(index) = check::first_not_finite(samples) {
            return Err(AlignError::NotFinite { which, index });
        }
        let peak = check::peak(samples);
        if peak < check::SILENT_PEAK {
            return Err(AlignError::NoSignal { which, peak });
        }
        let needed = self.layout.closing.end - self.layout.opening.start;
        if samples.len() < needed * 999 / 1_000 {
            let rate_hz = self.layout.rate_hz;
            return Err(AlignError::TooShort {
                which,
                got_s: samples.len() as f64 / rate_hz,
                needed_s: needed as f64 / rate_hz,
            });
        }
        let reach = NEAR_S * self.layout.rate_hz;
        let len = samples.len() as i64;
        let about = near
            .map(|frame| ((frame - reach) as i64).max(0)..((frame + reach) as i64).min(len))
            .and_then(|range| self.bursts(samples, range, which).ok());
        let (opening, closing) = match about {
            Some(places) => places,
            None => self.bursts(samples, 0..len, which)?,
        };
        Ok(Ends::measure(
            self.sent,
            self.layout,
            &self.reader,
            samples,
            [opening, closing],
        ))
    }

    /// Places of the opening burst, within `range`, and of the closing one, to the sample.
    fn bursts(
        &self,
        samples: &[f32],
        range: Range<i64>,
        which: &'static str,
    ) -> Result<(i64, i64), AlignError> {
        let len = samples.len() as i64;
        let apart = (self.layout.closing.start - self.layout.opening.start) as i64;
        let slack = (apart as f64 * 400e-6 + 0.06 * self.layout.rate_hz) as i64;
        let openings = self.opening.search(samples, range, 5);
        let pairs = openings
            .iter()
            .filter(|opening| opening.likeness.abs() >= LIKENESS_MIN)
            .filter_map(|opening| {
                let expected = opening.at + apart;
                let range = expected - slack..expected + slack;
                let closing = self.closing.search(samples, range, 1).first().copied()?;
                (closing.likeness.abs() >= LIKENESS_MIN).then_some((*opening, closing))
            });
        let burst_len = self.layout.closing.len() as i64;
        let best = pairs.max_by(|a, b| {
            let sum = |pair: &(_, _)| likeness_sum(pair);
            sum(a).total_cmp(&sum(b))
        });
        match best {
            Some((opening, closing)) if closing.at + burst_len <= len + 8 => {
                Ok((opening.at, closing.at))
            }
            Some(_) => Err(AlignError::CutOff { which, end: "end" }),
            None => Err(self.why_not(samples, &openings, which)),
        }
    }

    /// Why no pair of bursts was found.
    fn why_not(
        &self,
        samples: &[f32],
        openings: &[crate::correlate::Match],
        which: &'static str,
    ) -> AlignError {
        let best = |found: &[crate::correlate::Match]| {
            found.first().map_or(0.0, |found| found.likeness.abs())
        };
        let len = samples.len() as i64;
        let closing = best(&self.closing.search(samples, 0..len, 1));
        if best(openings) >= LIKENESS_MIN && closing >= LIKENESS_MIN {
            return AlignError::OtherStimulus { which };
        }
        if best(openings) >= LIKENESS_MIN {
            return AlignError::CutOff { which, end: "end" };
        }
        if closing >= LIKENESS_MIN {
            return AlignError::CutOff {
                which,
                end: "beginning",
            };
        }
        let likeness = best(openings).max(closing);
        AlignError::Unrelated { which, likeness }
    }
}

fn likeness_sum(pair: &(crate::correlate::Match, crate::correlate::Match)) -> f64 {
    pair.0.likeness.abs() + pair.1.likeness.abs()
}
