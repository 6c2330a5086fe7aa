//! The daemon: owns the audio interface, runs measurements, keeps their results.

pub mod audio;
pub mod clock;
pub mod config;
pub mod judge;
pub mod plugins;
pub mod recordings;
pub mod simulated;
pub mod store;
