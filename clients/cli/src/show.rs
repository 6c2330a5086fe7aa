//! How things look to people: calm text within the terminal's width.

pub mod analyses;
pub mod baselines;
pub mod chain;
mod channels;
pub mod comparison;
pub mod devices;
pub mod levels;
pub mod links;
mod look;
mod mark;
pub mod measurement;
pub mod monitor;
pub mod number;
pub mod overview;
mod place;
mod plot;
pub mod results;
pub mod rounds;
pub mod status;
mod table;
pub mod time;
pub mod trend;
pub mod wiring;

pub use look::Look;
pub use mark::Mark;
pub use number::{plain, rounded};
pub use place::place;
