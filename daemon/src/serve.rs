//! The gRPC API. Here alone are tonic's services and the wire's own words.

mod analyses;
mod errors;
mod judgement;
mod levels;
mod listen;
mod marks;
mod measurements;
mod pages;
mod reports;
mod rig;
mod rounds;
mod server;
mod trend;
mod upload;
mod watches;
mod wiring;

use std::sync::Arc;

use tokio_util::sync::CancellationToken;
use tonic::Status;

pub use listen::{ListenError, Listener};
pub use server::serve;

use crate::{
    audio::engine::Engine,
    measure::{complete::Desk, recorded::Recorded},
    refusal::Refusal,
    rounds::Rounds,
};

/// What every service works with.
#[derive(Clone)]
pub struct Services {
    /// Where measurements are made, stored and told.
    pub desk: Arc<Desk>,
    /// The audio engine.
    pub engine: Arc<Engine>,
    /// The threads that analyse recordings.
    pub recorded: Arc<Recorded>,
    /// What runs rounds.
    pub rounds: Arc<Rounds>,
    /// Ends every stream when the daemon ends.
    pub ending: CancellationToken,
}

/// Runs what may block on a thread where it may.
async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Refusal> + Send + 'static,
) -> Result<T, Status> {
    match tokio::task::spawn_blocking(work).await {
        Ok(done) => done.map_err(|refusal| errors::status(&refusal)),
        Err(error) => Err(Status::internal(format!("a bug of the daemon: {error}"))),
    }
}
