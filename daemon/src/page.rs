//! What a browser and a monitoring system see: how the links stand, a round while it runs, the
//! reports of runs, and the state as metrics.
//!
//! Read-only, over plain HTTP on loopback. Nothing can be changed or played from here.

mod answer;
mod front;
mod link;
mod metrics;
mod runs;
mod server;

#[cfg(test)]
mod tests;

pub use server::{PageError, PageListener, serve};
