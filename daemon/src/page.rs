//! What a browser and a monitoring system see: the reports of runs, and the state as metrics.
//!
//! Read-only, over plain HTTP on loopback. Nothing can be changed or played from here.

mod metrics;
mod server;

pub use server::{PageError, PageListener, serve};
