//! The command line, and its help.

use clap::{Parser, Subcommand};

use crate::{commands::*, connect::Address};

/// Tells whether a wireless audio link is still as good as the cable it replaced.
#[derive(Debug, Parser)]
#[command(name = "goodwire", version, after_help = SHORT_HELP, after_long_help = LONG_HELP)]
#[command(disable_help_subcommand = true)]
pub struct Arguments {
    /// Where goodwired listens; else $XDG_RUNTIME_DIR/goodwire.sock, then /run/goodwire/goodwire.sock
    #[arg(long, global = true, env = "GOODWIRE_SERVER", hide_env_values = true)]
    #[arg(value_name = "unix:PATH|http://HOST:PORT")]
    pub server: Option<Address>,

    /// Print one JSON document instead of text for people
    #[arg(long, global = true)]
    pub json: bool,

    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Daemon, interface, rig and plugins on one screen
    #[command(after_help = "Example:\n  goodwire status")]
    Status,
    /// What the audio back ends can see
    Devices(devices::Devices),
    /// The rig's links with their last verdict; say that one is away
    #[command(after_help = "Example:\n  goodwire links")]
    Links {
        /// What to do with one; without it all are listed
        #[command(subcommand)]
        action: Option<links::Links>,
    },
    /// What is plugged in where: plays quiet noise on every send
    Wiring(wiring::Wiring),
    /// What every return hears just now: plays nothing
    Levels(levels::Levels),
    /// What can be measured; each parameter with unit, default and bounds
    Analyses(analyses::Analyses),
    /// Measure one or several links: plays sound
    Measure(measure::Measure),
    /// Watch a link while somebody walks, and say how far it held: plays sound
    Walk(walk::Walk),
    /// Set a mark in a watch that runs: how far you are just now
    Mark(mark::MarkOf),
    /// End a watch that runs, and keep what it saw
    Finish(finish::Finish),
    /// Write the sound of an analysis to a WAV file, to be played by anything
    Stimulus(stimulus::Stimulus),
    /// Analyse recordings made anywhere
    Analyse(analyse::Analyse),
    /// With a plain cable in the link's place, measure how the two paths differ: plays sound
    Match(matching::Match),
    /// Measure the positions of an input switch, and say which suits the source: plays sound
    Positions(positions::PositionsOf),
    /// Take a link into service: measure it, propose limits, set the baseline: plays sound
    Commission(commission::Commission),
    /// Say how many volts full scale is, so that results also speak dBu
    Calibrate(calibrate::Calibrate),
    /// How the delays of links in a row add up: measures nothing
    Chain(chain::Chain),
    /// Which radio channels to set the links to, clear of the room: plays nothing
    Channels(channels::Channels),
    /// What was measured, newest first
    Results(results::Results),
    /// One measurement with all its figures
    Show(show_one::Show),
    /// Write a measurement or a run to files
    Export(export::Export),
    /// Measurements side by side
    Compare(compare::Compare),
    /// Set, list, clear, export or import what later measurements are compared with
    #[command(subcommand)]
    Baseline(baseline::Baseline),
    /// The rounds with their next due dates; run one, show a run
    #[command(after_help = "\
Examples:
  goodwire rounds
  goodwire rounds run nightly
  goodwire rounds show 019ab0c3-0000-7000-8000-000000000000")]
    Rounds {
        /// What to do with one; without it all are listed
        #[command(subcommand)]
        action: Option<rounds::Rounds>,
    },
    /// Write a page of a run, or of measurements side by side: one HTML file
    Report(report::Report),
    /// The room is empty: sound may be played with nobody present, until then
    Permit(room::Permit),
    /// The room is in use: end what plays, play nothing until release
    Hold(room::Hold),
    /// End a hold
    #[command(after_help = "Example:\n  goodwire release")]
    Release,
    /// Cancel everything; silent at once
    #[command(after_help = "Example:\n  goodwire stop")]
    Stop,
    /// Try it all on a simulated venue: needs no hardware and no running daemon
    Demo(demo::Demo),
    /// Print the completions of a shell
    Completions(completions::Completions),
}

const SHORT_HELP: &str = "\
Before anything plays: mute the PA and in-ear mixes and tell people. `goodwire --help` says more.";

const LONG_HELP: &str = "\
Examples:
  goodwire demo                          the whole of it on a simulated venue
  goodwire measure lectern response      one link
  goodwire measure all latency --json    every link, as JSON
  goodwire results --since 24h           what was found since yesterday

Exit codes of measure, walk, channels, analyse, show, compare, commission, rounds run and rounds
show:
  0  passed, or succeeded without limits
  1  drift: within limits, but moved from the baseline
  2  fail: a limit is broken
  3  unmeasured, failed, cancelled
Everything else exits with 0, or with 3 where it could not be done. Wrong usage is 3.
An interrupt is 130. With several links the worst counts: fail, unmeasured, drift, pass.

Before anything plays on a real rig:
  - Mute the PA and the in-ear mixes, and tell the people in the room.
  - Start low, and raise the level only as far as needed.
  - Never send test tones into an open live system.
  - Switch phantom power off where the transmitter does not want it.
  - Radio: keep to the local rules for the channel and the power that you use; mains: to the
    local electrical code.
`goodwire stop` silences everything at once; `goodwire hold` keeps it silent.";

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn every_command_has_an_example_in_its_help() {
        fn check(command: &clap::Command, path: &str) {
            for sub in command.get_subcommands() {
                let path = format!("{path} {}", sub.get_name());
                let help = sub
                    .get_after_help()
                    .or(sub.get_after_long_help())
                    .map(ToString::to_string)
                    .unwrap_or_default();
                assert!(
                    help.contains(path.trim_start()),
                    "`{path}` has no example: {help:?}"
                );
                check(sub, &path);
            }
        }
        check(&Arguments::command(), "goodwire");
    }

    #[test]
    fn the_definition_of_the_command_line_has_no_contradiction() {
        Arguments::command().debug_assert();
    }
}
