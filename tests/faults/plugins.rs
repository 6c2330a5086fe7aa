//! Plugins good and bad, each in a real host process: what becomes of the measurement, how fast,
//! and what is left behind.

mod ground;
mod honest;
mod registry;
mod zoo;
