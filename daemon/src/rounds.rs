//! Rounds: named lists of checks over links, run by the clock or on demand.
//!
//! [`Schedule`] says when a round is due, [`decide`] what is to be done about it at a moment, the
//! keeper looks at the clock, and the runner measures.

mod calendar;
mod keeper;
mod message;
mod messenger;
mod outcome;
mod recovered;
mod runner;
mod schedule;
mod trends;
mod watch;
mod window;

#[cfg(test)]
mod tests;

pub use calendar::{Decision, decide};
pub use keeper::{Keeper, Look, keep};
pub use message::{headline, message};
pub use messenger::{MessageCounts, send_messages};
pub use recovered::recovered;
pub use runner::{Asked, Rounds, round_of};
pub use schedule::{Due, Schedule, ScheduleError};
pub use trends::nights;
