//! The daemon: owns the audio interface, runs measurements, keeps their results.

pub mod audio;
pub mod simulated;
