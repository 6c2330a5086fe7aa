//! The JACK back end against a real server with the dummy driver and a device under test that is
//! a client of the test's own; the ALSA back end the same way, through libasound's JACK plugin.

mod alsa;
mod clients;
mod faults;
mod player;
mod server;
mod sound;
mod system_calls;
mod wiring;
