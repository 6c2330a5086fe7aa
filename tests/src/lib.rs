//! What the tests from outside share: the daemon as a process, its API, the command line, JACK.
//!
//! Everything here uses the binaries of `target/release` as a user does. Build them first:
//! `cargo build --release --workspace`.

pub mod client;
pub mod command_line;
pub mod daemon;
pub mod eventually;
pub mod rig;

use std::path::PathBuf;

/// A binary of ours, beside the running test.
///
/// # Panics
/// Where it was not built.
#[must_use]
pub fn binary(name: &str) -> PathBuf {
    let test = std::env::current_exe().expect("a running program has a path");
    let folder = test.parent().and_then(|deps| deps.parent());
    let path = folder.expect("tests lie in target/release/deps").join(name);
    let hint = "build it first: cargo build --release --workspace";
    assert!(path.exists(), "{} is missing; {hint}", path.display());
    path
}
