//! The whole daemon on a real JACK server with the dummy driver; the link is a JACK client of the
//! test's own. Drives it through gRPC, as any client does.

mod dut;
mod figures;
mod losses;
mod permission;
mod rounds;
mod server;
mod wiring;
