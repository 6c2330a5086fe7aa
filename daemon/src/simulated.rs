//! The simulated rig: an interface with simulated links, for trying and testing without hardware.

pub mod settings;
