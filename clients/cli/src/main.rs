//! The command line of goodwire: asks a running `goodwired`, and shows what it answers.

mod arguments;
mod by_hand;
mod commands;
mod connect;
mod exit;
mod failure;
mod files;
mod interrupts;
mod json;
mod marks;
mod output;
mod private_daemon;
mod progress;
mod session;
mod show;
mod values;
mod watch;
mod wav;

use std::process;

use arguments::Arguments;
use clap::{Parser, error::ErrorKind};
use exit::Exit;
use interrupts::Interrupts;
use session::Session;

fn main() {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => process::exit(refuse(&error)),
    };
    // The command itself runs on this very thread, the connection on the worker: a private daemon
    // is told of the death of the *thread* that started it, and this one lives to the end.
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(1)
        .enable_all()
        .build()
        .expect("a process can have one more thread");
    let exit = runtime.block_on(run(arguments));
    // A question to a person may still be waiting for its answer; it must not keep us.
    runtime.shutdown_background();
    process::exit(exit.code());
}

/// Runs the command until it is done or a signal ends it.
async fn run(arguments: Arguments) -> Exit {
    let interrupts = match Interrupts::listen() {
        Ok(interrupts) => interrupts,
        Err(error) => return failure::tell(&error.into()),
    };
    let session = Session::new(&arguments, interrupts.clone());
    tokio::select! {
        outcome = commands::run(&session, arguments.command) => match outcome {
            Ok(exit) => exit,
            Err(error) => failure::tell(&error),
        },
        exit = interrupts.quit() => exit,
    }
}

/// Prints what `clap` has to say; help is no mistake, and clap's own 2 would mean a failed link.
fn refuse(error: &clap::Error) -> i32 {
    let wanted = matches!(
        error.kind(),
        ErrorKind::DisplayHelp | ErrorKind::DisplayVersion
    );
    // A closed pipe is no reason to complain.
    let _ = error.print();
    if wanted {
        Exit::Pass.code()
    } else {
        Exit::Unmeasured.code()
    }
}
