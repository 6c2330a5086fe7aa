//! Steady tones: how they are made, and what they became on their way.
//!
//! [`Sequence`] renders them, [`ToneFitter`] finds them again with their harmonics and with the
//! noise beside each, [`RelativeHarmonics`] gives distortion as ratios with uncertainties.

mod backwards;
mod cut;
mod fit;
mod folding;
mod harmonics;
mod heard;
mod lines;
mod moments;
mod power;
mod projection;
mod residual;
mod sequence;
mod solve;
mod taper;

pub use backwards::refuse_backwards;
pub use cut::{are_two_cut_at_full_scale, is_cut_at_full_scale};
pub use fit::{HARMONIC_COUNT_MAX, ToneFit, ToneFitter};
pub use folding::clear_frequency_hz;
pub use harmonics::{Estimate, RelativeHarmonics};
pub use heard::Heard;
pub use lines::{Line, LineReader};
pub use power::NoisyPower;
pub use residual::{BandPower, Residual};
pub use rustfft::num_complex::Complex64;
pub use sequence::{Sequence, Sine, Tone};
pub use taper::Taper;

#[cfg(test)]
mod fit_tests;
