//! `goodwire completions`

use clap::{Args, CommandFactory};
use clap_complete::Shell;

use crate::{arguments::Arguments, exit::Exit, output};

/// Which shell.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  goodwire completions bash > ~/.local/share/bash-completion/completions/goodwire")]
pub struct Completions {
    /// The shell
    shell: Shell,
}

/// Prints the completions of a shell.
///
/// # Errors
/// Where standard output cannot be written.
pub fn run(arguments: &Completions) -> anyhow::Result<Exit> {
    let mut script = Vec::new();
    let mut command = Arguments::command();
    clap_complete::generate(arguments.shell, &mut command, "goodwire", &mut script);
    output::print(&String::from_utf8_lossy(&script))?;
    Ok(Exit::Pass)
}
