//! What a browser and a monitoring system see: the state of the links as a page, and as metrics.
//!
//! Read-only, over plain HTTP on loopback. Nothing can be changed or played from here.

mod metrics;
mod server;

pub use server::{PageError, PageListener, serve};
