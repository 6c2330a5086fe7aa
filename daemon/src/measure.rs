//! Measuring: from a request to a stored result, in one direction.
//!
//! `request` checks and makes jobs (`levels` says how loud), `queue` holds them, `conductor` plays one batch of equal jobs
//! at a time, a `worker` a job drives its plugin, `complete` judges and stores, `watch` tells. What needs no audio goes past the conductor: `without_audio`.

pub mod ask;
pub mod batch;
pub mod complete;
pub mod conductor;
pub mod feed;
pub mod job;
mod levels;
pub mod matched;
pub mod overheard;
pub mod pilot;
pub mod queue;
mod radio;
pub mod recorded;
pub mod request;
mod seen;
mod sends;
mod setup;
mod take_up;
pub mod watch;
pub mod watches;
pub mod wiring;
pub mod without_audio;
pub mod worker;
