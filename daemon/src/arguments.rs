//! The command line of the daemon, and its help.

use std::path::PathBuf;

use clap::Parser;

/// Measures wireless audio links against the cable they replaced.
///
/// It plays test sounds on the sends that its configuration names. Before anything plays: mute the
/// PA and in-ear mixes and tell people, start low, and never send test tones into an open live
/// system. `goodwire hold` forbids all playing, `goodwire stop` ends it at once.
#[derive(Debug, Parser)]
#[command(
    version,
    after_help = "Example: goodwired --config /etc/goodwire/goodwire.toml"
)]
pub struct Arguments {
    /// The configuration, one TOML file.
    #[arg(long, value_name = "FILE")]
    pub config: PathBuf,
    /// Where to listen: unix:PATH, or HOST:PORT on loopback. May be given several times.
    #[arg(long, value_name = "PLACE")]
    pub listen: Vec<String>,
    /// Folder that keeps the results; one daemon a folder.
    #[arg(long, value_name = "DIR")]
    pub state: Option<PathBuf>,
    /// Folder with plugin libraries.
    #[arg(long, value_name = "DIR")]
    pub plugins: Option<PathBuf>,
}
