//! The measurement science of goodwire: stimuli, alignment of recordings with what was sent,
//! sweeps, tones, delays and their uncertainties.
//!
//! The crate does no I/O, reads no clock and logs nothing. Everything is computed in `f64`;
//! samples come and go as `f32`. Levels are linear here, full scale = 1; decibels only where a
//! name says so.
//!
//! The way of the data: a [`stimulus::Stimulus`] (wake-up noise, opening burst, body, closing
//! burst) is rendered and played; what returns goes through [`align::align`], which puts it on
//! the stimulus' own frames.

pub mod align;
pub mod bands;
pub mod burst;
pub mod check;
pub mod correlate;
pub mod decibel;
pub mod fft;
pub mod interpolate;
pub mod noise;
pub mod quasi_peak;
pub mod resample;
pub mod response;
pub mod spectrum;
pub mod stimulus;
pub mod sweep;
pub mod tone;
pub mod turn;
pub mod watch;
pub mod weighting;
pub mod window;

pub use rustfft::num_complex::Complex64;
