//! `goodwire` as a user runs it.

use std::process::{Command, Stdio};

use serde_json::Value;

use crate::{binary, daemon::Daemon};

/// What one command did.
#[derive(Debug)]
pub struct Said {
    /// Exit code; `None` where a signal ended it.
    pub code: Option<i32>,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

impl Said {
    /// Standard output as the one JSON document that it has to be.
    ///
    /// # Panics
    /// Where it is none.
    #[must_use]
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.out)
            .unwrap_or_else(|error| panic!("no JSON: {error}\n{}\n{}", self.out, self.err))
    }
}

/// Runs a command against a daemon.
#[must_use]
pub fn goodwire(daemon: &Daemon, arguments: &[&str]) -> Said {
    run(Command::new(binary("goodwire"))
        .arg("--server")
        .arg(daemon.server())
        .args(arguments))
}

/// Runs a command that is ready to be run.
///
/// # Panics
/// Where it cannot be run at all.
#[must_use]
pub fn run(command: &mut Command) -> Said {
    let done = command
        .stdin(Stdio::null())
        .output()
        .expect("it can be run");
    Said {
        code: done.status.code(),
        out: String::from_utf8_lossy(&done.stdout).into_owned(),
        err: String::from_utf8_lossy(&done.stderr).into_owned(),
    }
}
