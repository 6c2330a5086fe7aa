//! Runs one plugin library in a process of its own: `goodwire-plugin-host LIBRARY`.
//!
//! Calls come in on standard input and replies go out on standard output, as frames of
//! `goodwire_proto::pipe`; standard error is the plugin's log. The process ends when its input
//! does. It is started by the daemon and of no use on a terminal.

mod confine;
mod library;
mod protocol;
mod serve;

use std::{env, path::PathBuf, process::ExitCode};

use library::Library;
use protocol::Protocol;

fn main() -> ExitCode {
    let mut arguments = env::args_os().skip(1).map(PathBuf::from);
    let path = match (arguments.next(), arguments.next()) {
        (Some(path), None) if path.is_absolute() => path,
        _ => {
            eprintln!("usage: goodwire-plugin-host LIBRARY, the library by its absolute path");
            return ExitCode::from(3);
        }
    };
    let mut protocol = match Protocol::take() {
        Ok(protocol) => protocol,
        Err(error) => {
            eprintln!("goodwire-plugin-host: the pipes cannot be taken: {error}");
            return ExitCode::FAILURE;
        }
    };
    confine::confine();
    let library = Library::load(&path);
    let outcome = serve::serve(&mut protocol, library);
    if let Err(error) = &outcome {
        eprintln!("goodwire-plugin-host: {error}");
    }
    // Neither exit handlers nor destructors of the plugin may run: they could hang or crash.
    // SAFETY: _exit has no preconditions.
    unsafe { libc::_exit(outcome.is_err().into()) }
}
