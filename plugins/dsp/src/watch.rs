//! What a watch sees: the stretches in which a link's sound was lost, replaced or disturbed.
//!
//! Every way of watching a link hears frames as they come, in memory that does not grow, and tells
//! of [`Lapse`]s once they are certain. What becomes of them (counts, rates, plots) is not its work.

mod delay;
mod equaliser;
pub mod ledger;
pub mod level_curve;
mod log;
pub mod marks;
mod moments;
mod narrow;
mod noise_watch;
mod passive_watch;
mod pilot;
mod pilot_body;
mod player_watch;
pub mod poisson;
mod stretch;
mod tone_pilot;
mod tone_watch;

pub use log::Log;
pub use noise_watch::NoiseWatch;
pub use passive_watch::PassiveWatch;
pub use pilot::{PILOT_BAND_HZ, Pilot};
pub use pilot_body::PilotBody;
pub use player_watch::{PlayerWatch, Render};
pub use tone_pilot::TonePilot;
pub use tone_watch::ToneWatch;

use serde::{Deserialize, Serialize};

/// What happened to a link's sound for a while.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum LapseKind {
    /// The sound was missing.
    Gap,
    /// Another sound stood in its place: a repeated packet, a fade, comfort noise.
    Concealed,
    /// It was disturbed for less than the shortest dropout.
    Click,
    /// Something was added to it that did not come from the send.
    Burst,
    /// Its delay stepped; the sound before and after is whole.
    Shift,
    /// Its tops were cut flat.
    Clipped,
    /// It lost level for a second and more, and the cable did not.
    Faint,
}

impl LapseKind {
    /// True where the link's sound was lost or replaced: what dropouts are made of.
    #[must_use]
    pub fn is_lost(self) -> bool {
        matches!(self, Self::Gap | Self::Concealed)
    }
}

/// One stretch, on the frames of the capture.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(from = "(LapseKind, f64, f64)", into = "(LapseKind, f64, f64)")]
pub struct Lapse {
    /// What happened.
    pub kind: LapseKind,
    /// Where it begins, at the -6 dB point of its edge.
    pub start_frame: f64,
    /// How long it lasts, to the -6 dB point of its other edge; 0 of a [`LapseKind::Shift`].
    pub frame_count: f64,
}

impl From<(LapseKind, f64, f64)> for Lapse {
    fn from((kind, start_frame, frame_count): (LapseKind, f64, f64)) -> Self {
        Self {
            kind,
            start_frame,
            frame_count,
        }
    }
}

impl From<Lapse> for (LapseKind, f64, f64) {
    fn from(lapse: Lapse) -> Self {
        (lapse.kind, lapse.start_frame, lapse.frame_count)
    }
}

/// Consecutive frames, one channel each, full scale = 1.
#[derive(Debug, Clone, Copy)]
pub struct Heard<'a> {
    /// Index of the first frame in the capture.
    pub first_frame: u64,
    /// What the link returned.
    pub link: &'a [f32],
    /// What the cable returned, as many; `None` where there is none.
    pub reference: Option<&'a [f32]>,
}

/// A way of watching a link.
pub trait Watch {
    /// Takes the next frames. Where they do not follow the last ones, those between were lost by
    /// the interface: no lapse is told that touches them.
    fn hear(&mut self, heard: &Heard<'_>);

    /// No more is to come: what is undecided is decided with what there is.
    fn close(&mut self);

    /// The lapses that have become certain since the last call, in order of time.
    fn take_lapses(&mut self) -> Vec<Lapse>;

    /// The lapse that is going on, as it would be told were the watch closed now; `None` where there
    /// is none, or where the watch does not say.
    fn pending(&self) -> Option<Lapse> {
        None
    }

    /// Where the sound stopped for good, as it seems so far, and nobody can tell whether it was lost
    /// or over; this is no lapse. `None` of watches that can tell.
    fn stopped_at(&self) -> Option<f64> {
        None
    }

    /// How many frames were judged so far, lapses included: those for which the sound that the
    /// link had to carry was there, and no frame was lost by the interface.
    fn judged_frame_count(&self) -> u64;

    /// The last frame so far at which the link carried its sound, as surely as the watch can tell;
    /// `None` where it never did.
    fn last_good_frame(&self) -> Option<u64>;
}
