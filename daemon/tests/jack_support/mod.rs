//! A JACK server of the test's own, with a device under test and a loudspeaker that listens.

pub mod clients;
pub mod player;
pub mod server;
