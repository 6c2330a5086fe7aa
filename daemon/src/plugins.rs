//! Plugins: which ones there are, and talking to one in a process of its own.
//!
//! The daemon loads no plugin code into itself. It starts `goodwire-plugin-host` with one library,
//! speaks frames of [`goodwire_proto::pipe`] with it, and believes nothing that comes back.

mod child;
mod conversation;
mod description;
mod error;
mod limits;
mod log;
mod outcome;
mod parameters;
mod registry;
mod session;
mod waveform;
mod words;

pub use error::PluginError;
pub use goodwire_proto::pipe::Block;
pub use limits::Limits;
pub use outcome::{check_result, is_open_ended};
pub use parameters::check_parameters;
pub use registry::{FindError, Found, PluginEntry, Registry, host_beside_daemon};
pub use session::{Fed, Session, Stopper};
pub use waveform::check_peak;
