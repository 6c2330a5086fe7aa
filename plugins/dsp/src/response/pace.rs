//! How the delay of a channel moves while a stimulus is played: its clock, and its steps.
//!
//! Every chirp of the stimulus, both bursts and each sweep, is one pass over the link's band. What
//! the link itself does to a frequency is alike in all passes, so only the time at which each
//! passes it can tell them apart: a clock that is off moves the delay with that time, a sample
//! that was dropped or inserted moves it from one moment on.

mod fit;
mod passes;
mod rows;
mod slips;
mod told;

use std::ops::Range;

use super::deconvolve::SweepResponse;
use super::train::SweepTrain;
use crate::align::{Alignment, Skew, Track};
use fit::Fit;
use passes::{Pass, passes};
use rows::{Row, cells, rows};
use slips::Model;
pub use told::Told;

/// Single-precision samples tell no clock more finely than this, in ppm.
const ROUNDING_PPM: f64 = 1e-6;
/// Link and reference share a clock where their skews differ by no more standard deviations.
const SHARED_SIGMAS: f64 = 4.0;

/// A step of the delay.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Frames by which the delay grew: below 0 where samples were lost.
    pub frames: f64,
    /// One standard deviation of `frames`.
    pub sigma_frames: f64,
    /// Seconds of the recording between which it lies.
    pub between_s: [f64; 2],
    /// Frames of the stimulus between which it lies.
    pub between_frames: [f64; 2],
    /// Whether it is known to lie within a chirp, and not in the silence before it.
    pub is_within: bool,
}

/// How one channel's delay moved.
#[derive(Debug, Clone, PartialEq)]
pub struct Pace {
    /// The channel's clock against the stimulus', whatever steps there were.
    pub skew: Skew,
    /// Steps, earliest first.
    pub steps: Vec<Step>,
}

impl Pace {
    /// The steps that lie, or may lie, in what sweep `index` of `train` asks for.
    fn steps_in(
        &self,
        alignment: &Alignment,
        train: &SweepTrain,
        index: usize,
    ) -> impl Iterator<Item = &Step> {
        let sweep = train.sweep();
        let [mut from, mut to] = [sweep.start_hz, sweep.stop_hz]
            .map(|hz| train.time_of_s(&alignment.layout, index, hz))
            .map(|time_s| time_s * alignment.layout.rate_hz);
        if from > to {
            std::mem::swap(&mut from, &mut to);
        }
        // A step beside the band touches it by a rounding.
        self.steps.iter().filter(move |step| {
            step.between_frames[0] < to - 1.0 && step.between_frames[1] > from + 1.0
        })
    }
}

/// The paces of both channels.
#[derive(Debug, Clone, PartialEq)]
pub struct Paces {
    /// The link's.
    pub link: Pace,
    /// The reference's, where there is one.
    pub reference: Option<Pace>,
}

impl Paces {
    /// Whether a step of either channel lies, or may lie, in what one of the sweeps `indices` of
    /// `train` asks for.
    #[must_use]
    pub fn spoil(&self, alignment: &Alignment, train: &SweepTrain, indices: &[usize]) -> bool {
        let mut indices = indices.iter();
        indices.any(|&index| self.steps_in(alignment, train, index).next().is_some())
    }

    /// Those of `sweeps` within which there is no step; all where none is left.
    #[must_use]
    pub fn sound_sweeps(
        &self,
        alignment: &Alignment,
        train: &SweepTrain,
        sweeps: Range<usize>,
    ) -> Vec<usize> {
        let is_sound = |&index: &usize| {
            let mut steps = self.steps_in(alignment, train, index);
            !steps.any(|step| step.is_within)
        };
        let sound: Vec<usize> = sweeps.clone().filter(is_sound).collect();
        if sound.is_empty() {
            sweeps.collect()
        } else {
            sound
        }
    }

    fn steps_in(
        &self,
        alignment: &Alignment,
        train: &SweepTrain,
        index: usize,
    ) -> impl Iterator<Item = &Step> {
        let channels = [Some(&self.link), self.reference.as_ref()].into_iter();
        let channels = channels.flatten();
        channels.flat_map(move |pace| pace.steps_in(alignment, train, index))
    }
}

/// The pace of each channel from all passes of its stimulus.
///
/// The delays of all passes in cells of an eighth of their frequency are fitted by weighted least
/// squares: one unknown for each cell, which is what the link does there, one for the skew, and,
/// where the passes do not lie on one clock, one for each pass. `sweeps` are all of `train`.
/// Where there are too few cells the clock is that of the bursts, and no step is found.
#[must_use]
pub fn paces(alignment: &Alignment, train: &SweepTrain, sweeps: &[SweepResponse]) -> Paces {
    let links = sweeps.iter().map(|sweep| &sweep.link).collect::<Vec<_>>();
    let mut link = pace(alignment, &alignment.link, train, &links);
    let references: Option<Vec<_>> = sweeps
        .iter()
        .map(|sweep| sweep.reference.as_ref())
        .collect();
    let mut reference = alignment
        .reference
        .as_ref()
        .zip(references)
        .map(|(track, channels)| pace(alignment, track, train, &channels));
    if let Some(reference) = &mut reference {
        share_clock(&mut link.skew, &mut reference.skew);
    }
    Paces { link, reference }
}

fn pace(
    alignment: &Alignment,
    track: &Track,
    train: &SweepTrain,
    sweeps: &[&super::Channel],
) -> Pace {
    let passes = passes(alignment, track, train, sweeps);
    let cells = cells(&passes);
    let rows = rows(&passes, &cells, alignment.layout.rate_hz);
    let Some((model, fit)) = slips::model(&rows, passes.len()) else {
        return Pace {
            skew: track.skew,
            steps: Vec::new(),
        };
    };
    let seconds = 1.0 / alignment.layout.rate_hz;
    let total = (1.0 + track.removed_skew) * (1.0 + fit.value(0) * seconds) - 1.0;
    Pace {
        skew: Skew {
            ppm: total * 1e6,
            uncertainty_ppm: (fit.sigma(&[(0, 1.0)]) * seconds * 1e6).max(ROUNDING_PPM),
        },
        steps: steps(alignment, track, &passes, &rows, &model, &fit),
    }
}

/// What of the steps of `model` is told, on the clock of the recording.
fn steps(
    alignment: &Alignment,
    track: &Track,
    passes: &[Pass],
    rows: &[Row],
    model: &Model,
    fit: &Fit,
) -> Vec<Step> {
    let rate_hz = alignment.layout.rate_hz;
    let told = model.steps(rows, passes.len(), fit);
    told.into_iter()
        .map(|step| {
            let between_frames = step.between_s.map(|time_s| time_s * rate_hz);
            let lag_frames = passes[step.pass].lag_frames;
            Step {
                frames: step.frames,
                sigma_frames: step.sigma_frames,
                between_s: between_frames.map(|frame| track.position(frame + lag_frames) / rate_hz),
                between_frames,
                is_within: step.is_within,
            }
        })
        .collect()
}

/// Gives both one clock where their difference does not stand out of the noise: they were
/// recorded together, and only a link that has a clock of its own differs.
fn share_clock(link: &mut Skew, reference: &mut Skew) {
    let variances = [&*link, &*reference].map(|skew| skew.uncertainty_ppm.powi(2));
    let allowed = SHARED_SIGMAS * (variances[0] + variances[1]).sqrt() + 1e-3;
    if (link.ppm - reference.ppm).abs() > allowed {
        return;
    }
    let weights = variances.map(f64::recip);
    let sum = weights[0] + weights[1];
    let shared = Skew {
        ppm: (link.ppm * weights[0] + reference.ppm * weights[1]) / sum,
        uncertainty_ppm: sum.recip().sqrt(),
    };
    (*link, *reference) = (shared, shared);
}
