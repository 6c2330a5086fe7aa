//! The response of a link to exponential sweeps, with its noise.
//!
//! [`SweepTrain`] is the body of a stimulus: one sweep or several, alike or at several levels.
//! [`deconvolve`] divides each returned sweep by the sent one, [`average`] puts repeats on each
//! other's delay, [`Gated`] keeps of the response what stands out of the noise and reads it at
//! any frequency with its variance.

mod average;
mod compare;
pub mod corners;
pub mod curve;
mod deconvolve;
mod extend;
mod gated;
mod gates;
mod harmonic;
mod heard;
mod largest;
mod line;
mod matched;
mod pace;
mod point;
mod range;
mod timing;
mod train;

pub use average::{Averaged, average, splice};
pub use compare::{Compared, compare};
pub use deconvolve::{Channel, NoResponse, SweepResponse, deconvolve};
pub use gated::Gated;
pub use gates::Gate;
pub use harmonic::harmonic_ratio;
pub use largest::{Rival, largest};
pub use line::{Line, fit_line};
pub use matched::PathDifference;
pub use pace::{Pace, Paces, Step, Told, paces};
pub use point::{Point, latency_grid, linear_grid, log_grid};
pub use range::range_of_noise;
pub use timing::{Arrival, arrivals};
pub use train::SweepTrain;
