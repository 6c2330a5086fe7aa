//! The daemon: owns the audio interface, runs measurements, keeps their results.

pub mod audio;
pub mod clock;
pub mod config;
pub mod dbu;
pub mod interface;
pub mod judge;
pub mod measure;
pub mod names;
pub mod page;
pub mod places;
pub mod plugins;
pub mod recordings;
pub mod refusal;
pub mod report;
pub mod rounds;
pub mod run;
pub mod safety;
pub mod serve;
pub mod simulated;
pub mod status;
pub mod store;
pub mod surroundings;
